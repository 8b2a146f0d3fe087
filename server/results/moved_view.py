"""What a day's newest result moved against the one before it, as lines of a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from server.days.beside_fit import is_seen
from server.days.service import newest_revision
from server.days.tables import DayRevision
from server.figures.theme import SetupMark, setup_marks
from server.results.quantities import ESTIMATES, Shown, signed, true_minus
from server.results.service import results_of
from server.results.summary import Summary
from server.testday.rounding import rounded, with_uncertainty

LEAST_PERCENT = 0.01


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

    what: the change that led to it; hardly: how many values moved by less than a printed digit and 0.01 %;
    waiting: the day was changed again, and that fit is on the way.
    """

    day_id: int
    what: str
    who: str
    at: str
    old: int
    rows: tuple[MovedRow, ...]
    hardly: int
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
    results = results_of(session, day_id, 2 if result_id is None else None)
    place = next((n for n, row in enumerate(results) if result_id in (None, row.id)), None)
    if place is None or place + 1 >= len(results):
        return None
    row, old = results[place], results[place + 1]
    revision = session.get_one(DayRevision, row.revision_id)
    same = old.revision_id == row.revision_id
    rows = rows_between(old.summary, row.summary, row.moved)
    return MovedView(
        day_id=day_id,
        what="fitted anew" if same else revision.what,
        who=revision.who,
        at=row.made_at.strftime("%Y-%m-%d %H:%M UTC"),
        old=old.id,
        rows=rows,
        hardly=len(row.moved) - len(rows),
        waiting=place == 0 and not is_seen(session, newest_revision(session, day_id), row.revision_id),
    )


def rows_between(was: Summary, now: Summary, lines: list[dict[str, Any]]) -> tuple[MovedRow, ...]:
    """The lines of what moved between two summaries that a reader can see."""
    marks = setup_marks(list(dict.fromkeys(one["setup"] for each in (now, was) for one in each["setups"])))
    before, after = _values(was), _values(now)
    keys = [(line["setup"], line["quantity"]) for line in lines]
    rows = (_row(key, marks[key[0]], before.get(key), after.get(key)) for key in keys if key[0] in marks)
    return tuple(one for one in rows if one.change or one.before != one.after)


def _values(summary: Summary) -> dict[tuple[str, str], dict[str, Any]]:
    return {(one["setup"], name): value for one in summary["setups"] for name, value in one["estimates"].items()}


def _row(key: tuple[str, str], mark: SetupMark, was: dict[str, Any] | None, now: dict[str, Any] | None) -> MovedRow:
    shown = ESTIMATES.get(key[1], Shown(key[1], unit=(now or was or {"unit": ""})["unit"]))
    return MovedRow(key[0], mark, shown.label, _text(was, shown), _text(now, shown), _change(was, now))


def _text(value: dict[str, Any] | None, shown: Shown) -> str:
    if value is None:
        return "none"
    u95 = 0.5 * (value["high95"] - value["low95"])
    return true_minus(with_uncertainty(shown.factor * value["value"], shown.factor * u95, shown.unit))


def _change(was: dict[str, Any] | None, now: dict[str, Any] | None) -> str:
    """The change in per cent of what it was, with its sign; empty where there is none to speak of."""
    if was is None or now is None or was["value"] == 0:
        return ""
    percent = 100.0 * (now["value"] - was["value"]) / abs(was["value"])
    return "" if abs(percent) < LEAST_PERCENT else f"{signed(rounded(percent, abs(percent))[0])} %"
