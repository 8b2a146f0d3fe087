"""A correction kept for one day, and for other days of the same car on which the same value stood."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.changes import Change
from server.days.form_fields import Typed
from server.days.forms import change_of, shared_value
from server.days.revisions import Revised, newest_day, revise_day
from server.days.service import list_days
from server.errors import StillairError
from server.testday.values import Day

OTHER_LANE = "long"
DIFFERS = "Another value stands there by now."
OTHER_CAR = "It is another car’s."


@dataclass(frozen=True, slots=True)
class OtherDay:
    """A day of the same car."""

    id: int
    name: str
    date: str


@dataclass(frozen=True, slots=True)
class Correction:
    """What became of it: this day's revision, the other days that got theirs, and why some did not."""

    here: Revised
    others: tuple[int, ...] = ()
    refused: tuple[str, ...] = ()


def days_that_share(archive: Archive, session: Session, day_id: int, slug: str) -> tuple[OtherDay, ...]:
    """Other days whose car has the same name and the same value there, the latest first."""
    _, here = newest_day(archive, session, day_id)
    value = shared_value(here, slug)
    if value is None or not here.car.name:
        return ()
    found = []
    for stored in list_days(session):
        if stored.id != day_id and _shares(archive, session, stored.id, here, slug):
            found.append(OtherDay(stored.id, stored.name, stored.date.isoformat() if stored.date else "no date"))
    return tuple(found)


def correct(
    archive: Archive,
    day_id: int,
    slug: str,
    typed: Typed,
    *,
    also: tuple[int, ...] = (),
    who: str,
    reason: str = "",
    expected: int | None = None,
) -> Correction:
    """Keep the correction of a filled form for this day, then for each of `also`, a revision and an event each.

    This day's fit goes into the quick lane, the others' wait in the long one. A day on which another value
    stands by now is left as it is, and said. Raises StillairError, and keeps nothing, where this day refuses it.
    """
    with archive.database.reading() as session:
        before = newest_day(archive, session, day_id)[1]
    here = revise_day(
        archive, day_id, lambda day: change_of(day, slug, typed), who=who, reason=reason, expected=expected
    )
    done, refused = [], []
    for other in dict.fromkeys(number for number in also if number != day_id):
        try:
            revise_day(
                archive, other, lambda day: _same(day, before, slug, typed), who=who, reason=reason, lane=OTHER_LANE
            )
            done.append(other)
        except StillairError as refusal:
            refused.append(f"Day {other} stays as it was: {_small(str(refusal))}")
    return Correction(here, tuple(done), tuple(refused))


def _same(day: Day, before: Day, slug: str, typed: Typed) -> Change:
    if day.car.name != before.car.name or shared_value(day, slug) is None:
        raise StillairError(OTHER_CAR)
    if shared_value(day, slug) != shared_value(before, slug):
        raise StillairError(DIFFERS)
    return change_of(day, slug, typed)


def _shares(archive: Archive, session: Session, day_id: int, here: Day, slug: str) -> bool:
    """Whether a day is the same car's with the same value; one that can't be read is not."""
    try:
        other = newest_day(archive, session, day_id)[1]
    except StillairError:
        return False
    return other.car.name == here.car.name and shared_value(other, slug) == shared_value(here, slug)


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
