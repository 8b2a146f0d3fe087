"""What a day's newest result moved against the one before it, as lines of a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from server.days.service import newest_revision
from server.days.tables import DayRevision
from server.figures.theme import SetupMark, setup_marks
from server.results.quantities import ESTIMATES, Shown, signed, true_minus
from server.results.service import results_of
from server.results.tables import FittedResult
from server.testday.rounding import rounded, with_uncertainty

LEAST_PERCENT = 0.005


@dataclass(frozen=True, slots=True)
class MovedRow:
    """One quantity of a setup, before and after with U95, and the change as a share of what it was."""

    setup: str
    mark: SetupMark
    quantity: str
    before: str
    after: str
    change: str


@dataclass(frozen=True, slots=True)
class MovedView:
    """What moved with the newest result; old: number of the result that it superseded.

    what: the change that led to it; waiting: the day was changed again, and that fit is on the way.
    """

    day_id: int
    what: str
    who: str
    at: str
    old: int
    rows: tuple[MovedRow, ...]
    waiting: bool

    @property
    def sentence(self) -> str:
        """What moved, in one sentence: of the drag areas, or that nothing did."""
        if not self.rows:
            return "nothing moved in any printed digit"
        first = next((row for row in self.rows if row.quantity == ESTIMATES["SCx"].label), self.rows[0])
        moved = f"{first.quantity} of setup {first.setup} went from {first.before} to {first.after}"
        return moved + (f" ({first.change})" if first.change else "")


def moved_view(session: Session, day_id: int, result_id: int | None = None) -> MovedView | None:
    """What a result of the day (the newest, where none is named) moved; None where it superseded none."""
    results = results_of(session, day_id)
    place = next((n for n, row in enumerate(results) if result_id in (None, row.id)), None)
    if place is None or place + 1 >= len(results):
        return None
    row, old = results[place], results[place + 1]
    revision = session.get_one(DayRevision, row.revision_id)
    same = old.revision_id == row.revision_id
    return MovedView(
        day_id=day_id,
        what="fitted anew" if same else revision.what,
        who=revision.who,
        at=row.made_at.strftime("%Y-%m-%d %H:%M UTC"),
        old=old.id,
        rows=_rows(row),
        waiting=place == 0 and newest_revision(session, day_id).id != row.revision_id,
    )


def _rows(row: FittedResult) -> tuple[MovedRow, ...]:
    marks = setup_marks([one["setup"] for one in row.summary["setups"]])
    extra = [line["setup"] for line in row.moved if line["setup"] not in marks]
    marks = setup_marks([*marks, *dict.fromkeys(extra)])
    return tuple(_row(line, marks[line["setup"]]) for line in row.moved)


def _row(line: dict[str, Any], mark: SetupMark) -> MovedRow:
    shown = ESTIMATES.get(line["quantity"], Shown(line["quantity"], unit=line["unit"]))
    return MovedRow(
        line["setup"],
        mark,
        shown.label,
        _value(line["before"], line["u_before"], shown),
        _value(line["after"], line["u_after"], shown),
        _change(line["before"], line["after"]),
    )


def _value(value: float | None, u: float | None, shown: Shown) -> str:
    if value is None or u is None:
        return "none"
    return true_minus(with_uncertainty(shown.factor * value, 1.959964 * shown.factor * u, shown.unit))


def _change(before: float | None, after: float | None) -> str:
    """The change in per cent of what it was, with its sign."""
    if before is None or after is None or before == 0:
        return ""
    percent = 100.0 * (after - before) / abs(before)
    if abs(percent) < LEAST_PERCENT:
        return "less than ±0.01 %"
    return f"{signed(rounded(percent, abs(percent))[0])} %"
