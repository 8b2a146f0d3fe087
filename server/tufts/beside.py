"""What tufts say, part by part and setup by setup, beside the numbers of other pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.days.day_view import day_marks
from server.figures.theme import SetupMark
from server.testday.values import Day
from server.tufts.day_view import day_photos, part_rows


@dataclass(frozen=True, slots=True)
class ToldTufts:
    """A part in a setup of a day: whether its tufts do what is predicted, in words."""

    day_id: int
    day: str
    part: str
    setup: str
    mark: SetupMark
    words: str


def told_tufts(session: Session, days: Iterable[tuple[int, Day]]) -> tuple[ToldTufts, ...]:
    """Of these days, every part and setup whose photos are held against a prediction."""
    found = []
    for day_id, day in days:
        marks = day_marks(day)
        for row in part_rows(day, day_photos(session, day, day_id)):
            told = (cell for cell in row.cells if cell.agreement)
            found += [ToldTufts(day_id, day.name, row.part, one.setup, marks[one.setup], one.agreement) for one in told]
    return tuple(found)
