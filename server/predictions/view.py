"""Sets of predictions laid out for their pages: lines of a list, rows of a set, and what both say in a sentence."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.figures.theme import SetupMark, setup_marks
from server.predictions.content import Content
from server.predictions.tables import PredictionEnd, PredictionSet
from server.testday.predicted import PredictedRow
from server.testday.rounding import with_uncertainty
from server.testday.values import PredictionCase, Quantity

if TYPE_CHECKING:
    from server.figures.predicted_set import CaseAreas

NORMAL_95 = 1.959964
MM = 1000.0
KMH = 3.6
NO_U = "no uncertainty given"
DRAWN = {"SCx": "scx_m2", "SCz_front": "scz_front_m2", "SCz_rear": "scz_rear_m2", "SCz": "downforce_m2"}
QUANTITIES = (("SCx", "scx_m2"), ("SCz front", "scz_front_m2"), ("SCz rear", "scz_rear_m2"), ("SCz", "downforce_m2"))


@dataclass(frozen=True, slots=True)
class SetLine:
    """A set as lists show it; stands: empty for one that stands, else how it ended."""

    id: int
    name: str
    about: str
    cases: str
    recipe: str
    dated: str
    stands: str


@dataclass(frozen=True, slots=True)
class RowView:
    """A row of a set or of a preview: its setup, its condition and part, its cells by column, and how it came about."""

    line: int
    setup: str
    own: str
    condition: str
    part: str
    cells: tuple[str, ...]
    given: str
    words: tuple[str, ...]


def set_line(one: PredictionSet, end: PredictionEnd | None) -> SetLine:
    """A set in a list."""
    left = f", {counted(one.left_out, 'row')} left out" if one.left_out else ""
    kind = "case" if one.kind == "areas" else "pressure"
    return SetLine(
        one.id,
        one.name,
        "areas" if one.kind == "areas" else "pressure taps",
        f"{counted(one.cases, kind)}{left}",
        one.recipe or "no recipe said",
        one.dated.isoformat() if one.dated else "no date",
        "" if end is None else f"{end.how} {end.at.date()}",
    )


def row_views(content: Content, matches: Mapping[str, str]) -> tuple[RowView, ...]:
    """The rows that were taken, in the order of the table."""
    make: Callable[[PredictedRow, Mapping[str, str]], RowView] = _case_view if content.kind == "areas" else _tap_view
    return tuple(make(row, matches) for row in content.taken)


def columns_of(content: Content) -> tuple[str, ...]:
    """The columns of `row_views`."""
    return (*(name for name, _ in QUANTITIES), "front share") if content.kind == "areas" else ("tap", "Cp")


def _case_view(row: PredictedRow, matches: Mapping[str, str]) -> RowView:
    case = row.case
    assert case is not None
    cells = (*(area_text(getattr(case, name)) for _, name in QUANTITIES), _share(case))
    return RowView(
        row.line, case.setup, matches.get(case.setup, case.setup), condition_text(case), case.part or "whole car",
        cells, given_text(row), row.words,
    )  # fmt: skip


def _tap_view(row: PredictedRow, matches: Mapping[str, str]) -> RowView:
    tap = row.tap
    assert tap is not None
    value = with_uncertainty(tap.cp, NORMAL_95 * tap.u) if tap.u else f"{tap.cp:.4g}, {NO_U}"
    return RowView(
        row.line, tap.setup, matches.get(tap.setup, tap.setup), condition_text(tap), "",
        (tap.tap, value.replace("-", "−")), given_text(row), row.words,
    )  # fmt: skip


def area_text(area: Quantity | None) -> str:
    """value ± U95 m²; what was not predicted and what has no uncertainty is said."""
    if area is None:
        return "not predicted"
    if not area.u:
        return f"{area.value:.4g} m², {NO_U}".replace("-", "−")
    return with_uncertainty(area.value, NORMAL_95 * area.u, "m²").replace("-", "−")


def _share(case: PredictionCase) -> str:
    total = case.downforce_m2
    if not case.has_split or case.scz_front_m2 is None or total is None or not total.value:
        return "no axle split" if total is not None else ""
    return f"{100.0 * case.scz_front_m2.value / total.value:.1f} %".replace("-", "−")


def condition_text(case: PredictionCase | object) -> str:
    """Ride heights, yaw and speed, those that were said."""
    front, rear = (getattr(case, f"{end}_ride_height_m") for end in ("front", "rear"))
    speed, yaw = getattr(case, "speed_mps"), getattr(case, "yaw_rad")  # noqa: B009 - cases and taps alike
    parts = []
    if front is not None or rear is not None:
        heights = ("–" if one is None else f"{MM * one:.4g}" for one in (front, rear))
        parts.append(f"{' / '.join(heights)} mm")
    if yaw:
        parts.append(f"yaw {math.degrees(yaw):.3g}°".replace("-", "−"))
    if speed is not None:
        parts.append(f"{KMH * speed:.4g} km/h")
    if source := getattr(case, "source"):  # noqa: B009
        parts.append(source)
    return "; ".join(parts) or "no condition said"


def marks_of(setups: Sequence[str], written: Sequence[str]) -> dict[str, SetupMark]:
    """Letters and hues: the car's setups first, as everywhere, then names that are none of them."""
    return setup_marks([*setups, *dict.fromkeys(one for one in written if one not in setups)])


def drawn_cases(content: Content) -> bool:
    """Whether any case of the whole car is there for a figure."""
    return any(row.case is not None and not row.case.part for row in content.rows)


def case_points(content: Content) -> tuple[CaseAreas, ...]:
    """The cases of the whole car as the figure draws them."""
    from server.figures.predicted_set import CaseAreas  # loads the plot library, which the page itself does not need

    found = []
    for row in content.taken:
        if row.case is None or row.case.part:
            continue
        areas = {name: getattr(row.case, attribute) for name, attribute in DRAWN.items()}
        given = {name: area for name, area in areas.items() if area is not None}
        found.append(CaseAreas(row.case.setup, row.line, condition_text(row.case), given))
    return tuple(found)


def given_text(row: PredictedRow) -> str:
    """The cells as they stood in the table."""
    return "; ".join(f"{name} {cell}" for name, cell in row.given.items())


def span_words(content: Content) -> str:
    """What the set predicts, in numbers: the least and the largest of the whole car's areas."""
    if content.kind == "taps":
        taps = [row.tap for row in content.taken if row.tap is not None]
        low, high = min(one.cp for one in taps), max(one.cp for one in taps)
        return f"Cp {low:.3g} to {high:.3g} at {counted(len({one.tap for one in taps}), 'tap')}".replace("-", "−")
    whole = [row.case for row in content.taken if row.case is not None and not row.case.part]
    cases = whole or [row.case for row in content.taken if row.case is not None]
    both = (QUANTITIES[0], QUANTITIES[3])
    parts = [_span(name, [getattr(case, attribute) for case in cases]) for name, attribute in both]
    return ", ".join(filter(None, parts))


def _span(name: str, areas: Sequence[Quantity | None]) -> str:
    values = [one.value for one in areas if one is not None]
    if not values:
        return ""
    low, high = f"{min(values):.3g}", f"{max(values):.3g}"
    return f"{name} {low if low == high else f'{low} to {high}'} m²".replace("-", "−")


def set_sentence(one: PredictionSet, content: Content, unmatched: Sequence[str]) -> str:
    """What the set says, and what to do about it."""
    written = [row.case.setup if row.case else row.tap.setup if row.tap else "" for row in content.taken]
    setups = list(dict.fromkeys(written))
    kind = "case" if one.kind == "areas" else "pressure"
    of = f"setup{'' if len(setups) == 1 else 's'} {listed(setups)}"
    text = f"{counted(one.cases, kind)} of {of}: {span_words(content)}"
    if one.left_out:
        text += f"; {counted(one.left_out, 'row')} could not be used"
    if unmatched:
        return f"{text}. Say which setup of the car {listed(unmatched)} {'is' if len(unmatched) == 1 else 'are'}."
    return f"{text}."


def list_sentence(
    car: str, sets: Sequence[PredictionSet], ended: Mapping[int, PredictionEnd], unmatched: Sequence[str]
) -> str:
    """What a car has of predictions, and what to do next."""
    stand = [one for one in sets if one.id not in ended]
    if not stand:
        return f"No prediction of {car or 'the car without a name'} stands: bring a table of CFD cases."
    cases = sum(one.cases for one in stand)
    text = f"{counted(len(stand), 'set')} of {car or 'the car without a name'} with {counted(cases, 'prediction')} "
    text += "stands" if len(stand) == 1 else "stand"
    if unmatched:
        return f"{text}; say which setup {listed(unmatched)} {'is' if len(unmatched) == 1 else 'are'}."
    return f"{text}; all of their names are setups of the car."


def counted(count: int, what: str) -> str:
    """"1 case", "12 cases"."""
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def listed(names: Sequence[str], most: int = 5) -> str:
    """Names in a sentence."""
    shown = [f"“{one}”" if " " in one else one for one in names[:most]]
    if len(names) > most:
        return f"{', '.join(shown)} and {len(names) - most} more"
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}" if shown else "none"
