"""What the events say was kept, held against what is there: a row that was taken out is still told of."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.tables import Event, RawFile
from server.days.tables import DayRevision, StoredDay
from server.results.tables import FittedResult
from server.uploads.tables import Upload

RECEIVED, DROPPED = "file-received", "upload-dropped"


def after_of(event: Event) -> dict[str, object]:
    """What an event says is there after it; empty where it says nothing that can be read."""
    return _object(event.after)


def _object(kept: str | None) -> dict[str, object]:
    try:
        value = json.loads(kept or "null")
    except ValueError:
        return {}
    return value if isinstance(value, dict) else {}


@dataclass(frozen=True, slots=True)
class Told:
    """All events, and those of each day."""

    events: list[Event]
    of_day: dict[int, list[Event]]

    @staticmethod
    def read(session: Session) -> Told:
        """The chain as it stands."""
        events = list(session.scalars(select(Event).order_by(Event.id)))
        of_day: dict[int, list[Event]] = {}
        for event in events:
            if event.day_id is not None:
                of_day.setdefault(event.day_id, []).append(event)
        return Told(events, of_day)


def event_faults(session: Session, told: Told) -> Iterator[str]:
    """Days, revisions, results, uploads and files that an event tells of and that are not there."""
    days = set(session.scalars(select(StoredDay.id)))
    revisions = {(day, number) for day, number in session.execute(select(DayRevision.day_id, DayRevision.number))}
    results = set(session.scalars(select(FittedResult.id)))
    for event in (one for one in told.events if one.day_id is not None):
        after, named = after_of(event), f"The chain of events: event {event.id} tells of"
        if event.day_id not in days:
            yield f"{named} day {event.day_id}, which is not there."
            continue
        number = after.get("revision")
        if isinstance(number, int) and (event.day_id, number) not in revisions:
            yield f"{named} revision {number} of day {event.day_id}, which is not there."
        result = after.get("result")
        if isinstance(result, int) and result not in results:
            yield f"{named} result {result} of day {event.day_id}, which is not there."
    yield from _received_faults(session, told)


def _received_faults(session: Session, told: Told) -> Iterator[str]:
    dropped = {_object(one.before).get("upload") for one in told.events if one.kind == DROPPED}
    there = dropped | set(session.scalars(select(Upload.id)))
    files = set(session.scalars(select(RawFile.sha256)))
    for event in (one for one in told.events if one.kind == RECEIVED):
        after, named = after_of(event), f"The chain of events: event {event.id} tells of"
        if after.get("upload") not in there:
            yield f"{named} upload {after.get('upload')}, which is not there."
        if after.get("sha256") not in files:
            yield f"{named} raw file {after.get('sha256')}, which is not there."
