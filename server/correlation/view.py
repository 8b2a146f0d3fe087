"""A correlation in the words and rows of its page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.analysis.correlated import QUANTITIES, Across, Correlated, DayCorrelation
from server.analysis.correlation_words import VERDICT_WORDS, WRITTEN, day_counts, day_sentence, off_by, sentence
from server.correlation.service import CarCorrelation, DayVerdicts, PredictedBy
from server.correlation.tables import DecisionNote
from server.figures.correlation_points import CasePoint, TrendPoint
from server.figures.theme import SetupMark, setup_marks
from server.testday.rounding import rounded

NO_DAY = "No day of this car has a result yet, so there is nothing to hold predictions against."
NO_CASES = (
    "No predictions of this car stand here yet: bring a table of CFD cases, one a line, and every setup that was"
    " measured gets a verdict."
)
NO_MATCH = (
    "The predictions name no setup that these days measured; match their names to the car's setups, or choose other"
    " days."
)


@dataclass(frozen=True, slots=True)
class Cell:
    """A verdict in the table: its word, how far off, where it is told in full, what was decided on it."""

    verdict: str
    words: str
    off: str
    href: str
    decided: str


@dataclass(frozen=True, slots=True)
class VerdictRow:
    """A setup, or a change, and its verdicts in the order of the quantities; None where there is none."""

    mark: SetupMark
    name: str
    day_id: int
    day: str
    cells: tuple[Cell | None, ...]


@dataclass(frozen=True, slots=True)
class NoteView:
    """A decision: whose, when, on what, and whether it still speaks of the newest result and set."""

    number: int
    about: str
    stance: str
    text: str
    who: str
    at: str
    told: str
    superseded: bool
    stale: str
    href: str


@dataclass(frozen=True, slots=True)
class Part:
    """A line of what a verdict's doubt is made of."""

    words: str
    u: str
    share: str


def marks_of(car: CarCorrelation) -> dict[str, SetupMark]:
    """Letter and hue of each setup, as on all pages of the car's days."""
    return setup_marks(car.setups)


def quantities_told(held: Sequence[tuple[DayVerdicts, Correlated]]) -> tuple[str, ...]:
    """The quantities that have a verdict, in their order."""
    told = {one.quantity for _, one in held}
    return tuple(name for name in QUANTITIES if name in told)


def car_sentences(car: CarCorrelation) -> tuple[str, str]:
    """What the measurements say of the predictions, and how many verdicts there are of each kind."""
    if not car.options:
        return NO_DAY, ""
    if not car.cases:
        return NO_CASES, ""
    totals, changes = (tuple(one for _, one in held) for held in (car.totals, car.changes))
    if not totals:
        return NO_MATCH, ""
    found = DayCorrelation(totals, changes, (), {}, car.margins)
    return day_sentence(found), day_counts(found)


def verdict_rows(
    held: Sequence[tuple[DayVerdicts, Correlated]], marks: Mapping[str, SetupMark], notes: Sequence[DecisionNote],
    there: str, query: Mapping[str, str],
) -> tuple[VerdictRow, ...]:  # fmt: skip
    """The table of verdicts. there: address of a verdict; query: what it keeps of the page's choices."""
    quantities = quantities_told(held)
    rows: dict[tuple[str, str | None], dict[str, tuple[DayVerdicts, Correlated]]] = {}
    for pair in held:
        rows.setdefault((pair[1].setup, pair[1].against), {})[pair[1].quantity] = pair
    found = []
    for (setup, against), cells in rows.items():
        day = next(iter(cells.values()))[0]
        made = tuple(
            _cell(cells[name], notes, f"{there}?{urlencode(dict(query) | place_of(cells[name][1]))}")
            if name in cells
            else None
            for name in quantities
        )
        name = setup if against is None else f"{setup} − {against}"
        found.append(VerdictRow(marks[setup], name, day.day_id, day.day.isoformat(), made))
    return tuple(found)


def place_of(one: Correlated) -> dict[str, str]:
    """What names a verdict in an address."""
    return {"setup": one.setup, "quantity": one.quantity} | ({"against": one.against} if one.against else {})


def _cell(pair: tuple[DayVerdicts, Correlated], notes: Sequence[DecisionNote], href: str) -> Cell:
    day, one = pair
    note = note_on(notes, day, one)
    off = "" if one.predicted is None else off_by(one)
    return Cell(one.verdict, VERDICT_WORDS[one.verdict], off, href, note.stance if note else "")


def note_on(notes: Sequence[DecisionNote], day: DayVerdicts, one: Correlated) -> DecisionNote | None:
    """The newest decision on this very verdict: its result and its set."""
    here = (day.result_id, day.sources[one.setup].set_id, one.setup, one.quantity, one.against or "")
    return next(
        (n for n in notes if (n.result_id, n.set_id, n.setup, n.quantity, n.against) == here), None
    )


def note_views(
    notes: Sequence[DecisionNote], car: CarCorrelation, there: str, query: Mapping[str, str]
) -> tuple[NoteView, ...]:
    """All decisions, the newest first."""
    gone = {note.supersedes_id for note in notes}
    newest = {(one.setup, one.quantity, one.against or ""): (day, one) for day, one in (*car.totals, *car.changes)}
    views = []
    for note in notes:
        about = about_words(note.setup, note.quantity, note.against)
        pair = newest.get((note.setup, note.quantity, note.against))
        stale = "" if pair and note_on([note], *pair) else "about an earlier result or another set of predictions"
        place = {"setup": note.setup, "quantity": note.quantity} | ({"against": note.against} if note.against else {})
        href = f"{there}?{urlencode(dict(query) | place)}"
        views.append(
            NoteView(
                note.id, about, note.stance, note.text, note.who, f"{note.at:%Y-%m-%d %H:%M}", note.told,
                note.id in gone, stale, href,
            )
        )  # fmt: skip
    return tuple(views)


def source_words(source: PredictedBy) -> str:
    """A set by its name and recipe."""
    return f"{source.name}{', ' + source.recipe if source.recipe else ''}"


def about_words(setup: str, quantity: str, against: str | None) -> str:
    """`SCx of C`, `SCx of C against A`."""
    return f"{WRITTEN[quantity].symbol} of {setup}{f' against {against}' if against else ''}"


def doubt_parts(one: Correlated) -> tuple[Part, ...]:
    """What u_val is made of, the largest first: shares of u_val²."""
    written = WRITTEN[one.quantity]
    parts = (
        ("the measurement", one.measured.u),
        ("mesh and iteration of the prediction", one.u_num),
        ("telling it between its cases", one.u_fit),
        ("the ride heights at which the car ran", one.u_input),
    )
    whole = one.u_val**2 or 1.0
    unit = f" {written.difference}" if written.difference else ""
    known = sorted((pair for pair in parts if pair[1] > 0), key=lambda pair: -pair[1])
    told = [rounded(written.factor * u, written.factor * one.u_val)[0] for _, u in known]
    return tuple(
        Part(words, f"{text}{unit}", f"{100 * u**2 / whole:.0f} %")
        for (words, u), text in zip(known, told, strict=True)
    )


def full_sentence(car: CarCorrelation, one: Correlated) -> str:
    """A verdict as a sentence with the car's margin."""
    return sentence(one, car.margins.total if one.against is None else car.margins.change)


def worst_undecided(
    car: CarCorrelation, notes: Sequence[DecisionNote]
) -> tuple[DayVerdicts, Correlated] | None:
    """The verdict furthest off that nobody decided on."""
    off = [
        (day, one)
        for day, one in (*car.totals, *car.changes)
        if one.verdict in ("prediction-high", "prediction-low") and note_on(notes, day, one) is None
    ]
    return max(off, key=lambda pair: pair[1].z, default=None)


def stands_on(car: CarCorrelation) -> tuple[str, ...]:
    """What the verdicts assume, each once: ride heights, how predictions were told, notes, what gets no verdict."""
    lines: dict[str, None] = {}
    for day in car.days:
        for one in day.found.totals:
            if one.quantity == day.found.totals[0].quantity:
                by = source_words(day.sources[one.setup])
                at = day.found.heights[one.setup].how
                lines[f"{one.setup}, {day.name}: predicted by {by} as {one.how}, at {at}."] = None
        for one in (*day.found.totals, *day.found.changes):
            lines |= {f"{note[:1].upper()}{note[1:]}.": None for note in one.notes if one.predicted is not None}
        lines |= dict.fromkeys(day.found.told)
        mute = (f"{one.setup}, {WRITTEN[one.quantity].symbol}: no verdict, for {one.why}." for one in day.found.silent)
        lines |= dict.fromkeys(mute)
    return tuple(lines)


def across_of(car: CarCorrelation, quantity: str) -> Across | None:
    """All setups together; None where fewer than two are told."""
    from server.analysis.correlation_across import across, pairs_of

    told = [(day, one) for day, one in car.totals if one.quantity == quantity and one.predicted is not None]
    if len(told) < 2:
        return None
    joints = {day.day_id: day.joints for day, _ in told}
    day_of = {one.setup: day.day_id for day, one in told}
    shared = {one.setup: day.shared_u.get((one.setup, quantity), 0.0) for day, one in told}
    return across(pairs_of([one for _, one in told], quantity, joints, day_of, shared))


def trend_points(car: CarCorrelation, quantity: str) -> tuple[TrendPoint, ...]:
    """E/D of every setup on every chosen day, the earliest first."""
    points = []
    for day in sorted(car.days, key=lambda one: (one.day, one.day_id)):
        for one in day.found.totals:
            if one.quantity == quantity and one.predicted is not None and one.measured.value:
                source = day.sources[one.setup]
                share, size = one.E / one.measured.value, abs(one.measured.value)
                recipe = source.recipe or source.name
                points.append(TrendPoint(day.day, day.name, one.setup, recipe, share, one.u_val / size))
    return tuple(points)


def case_points(car: CarCorrelation, setup: str, axle: str) -> tuple[CasePoint, ...]:
    """Predicted cases of an axle's downforce that give its ride height, straight ahead."""
    points = []
    for one in car.cases:
        case = one.case
        height = case.front_ride_height_m if axle == "front" else case.rear_ride_height_m
        area = case.scz_front_m2 if axle == "front" else case.scz_rear_m2
        if case.setup != setup or case.part or height is None or area is None or abs(case.yaw_rad) > 0.02:
            continue
        both = (("front", case.front_ride_height_m), ("rear", case.rear_ride_height_m))
        words = ", ".join(f"{1e3 * metres:.0f} mm {end}" for end, metres in both if metres is not None)
        points.append(CasePoint(height, area.value, area.u, words))
    return tuple(points)
