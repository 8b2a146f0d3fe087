"""Which days, cars and sets of predictions go into a packed season, and what its folders are called."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.correlation.tables import CorrelationMargins, DecisionNote
from server.days.incoming import safe_name
from server.days.revisions import newest_day
from server.days.service import list_days
from server.days.tables import StoredDay
from server.errors import StillairError
from server.predictions.tables import PredictionSet, SetupMatch
from server.results.again_season import scope_words
from server.results.refit_job import chosen_days

NO_DAYS = "No test day is of that year and that car, so there is nothing to pack."
LONGEST = 80


@dataclass(frozen=True, slots=True)
class PackedDay:
    """A day as it is packed; folder: in the zip, the same for the same days every time."""

    id: int
    folder: str
    name: str
    date: dt.date | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """What goes into the zip. whole: every day of the archive."""

    scope: str
    whole: bool
    days: tuple[PackedDay, ...]
    cars: tuple[str, ...]
    sets: tuple[int, ...]

    @property
    def ids(self) -> tuple[int, ...]:
        """The numbers of the days."""
        return tuple(day.id for day in self.days)

    def folder(self, day_id: int | None) -> str:
        """A day's folder; empty for none of these days."""
        return next((day.folder for day in self.days if day.id == day_id), "")


def choose(archive: Archive, session: Session, year: int | None, car: str) -> Chosen:
    """The days of a year and a car, or all; with every set and word on their cars. Raises StillairError for none."""
    days = chosen_days(archive, session, year, car)
    if not days:
        raise StillairError(NO_DAYS)
    every = len(days) == len(list_days(session))
    ids = [day.id for day in days]
    cars = _all_cars(session) if every else ()
    cars = tuple(sorted({*cars, *(found for day_id in ids if (found := _car_of(archive, session, day_id)))}))
    sets = set(session.scalars(select(PredictionSet.id).where(PredictionSet.car.in_(cars))))
    sets |= set(session.scalars(select(PredictionSet.id).where(PredictionSet.day_id.in_(ids))))
    notes = select(DecisionNote.set_id).where(DecisionNote.day_id.in_(ids), DecisionNote.set_id.is_not(None))
    sets |= {number for number in session.scalars(notes) if number is not None}
    return Chosen(scope_words(year, car), every, packed_days(days), cars, tuple(sorted(sets)))


def _all_cars(session: Session) -> tuple[str, ...]:
    of = (PredictionSet.car, SetupMatch.car, CorrelationMargins.car, DecisionNote.car)
    return tuple({car for column in of for car in session.scalars(select(column).distinct())})


def _car_of(archive: Archive, session: Session, day_id: int) -> str | None:
    """None for a day that can't be read; it is packed all the same."""
    try:
        return newest_day(archive, session, day_id)[1].car.name
    except StillairError:
        return None


def packed_days(days: Sequence[StoredDay]) -> tuple[PackedDay, ...]:
    """The earliest first; folders of one name are numbered."""
    found: list[PackedDay] = []
    taken: set[str] = set()
    for day in sorted(days, key=lambda one: (one.date or one.added_at.date(), one.id)):
        stem = f"{day.date or 'no date'} {safe_name(day.name)[:LONGEST]}".rstrip(". ")
        folder = next(
            name for name in (stem, *(f"{stem} ({n})" for n in range(2, len(days) + 2))) if name.casefold() not in taken
        )
        taken.add(folder.casefold())
        found.append(PackedDay(day.id, folder, day.name, day.date))
    return tuple(found)
