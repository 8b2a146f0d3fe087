"""Results: can they be read, are they what the lists and the events say?"""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import canonical
from server.archive.raw_files import RawStore
from server.archive.tables import Event
from server.days.tables import DayRevision
from server.errors import StillairError
from server.history.verify_events import Told, after_of
from server.history.verify_rows import UNREADABLE, guarded, in_a_line
from server.results.codec import result_from_bytes
from server.results.summary import SUMMARY_FORMAT, summarise
from server.results.tables import FittedResult


def result_faults(session: Session, raw: RawStore, told: Told) -> Iterator[str]:
    """Results that cannot be read, whose summary says something else, or that no event tells of."""
    rows = select(FittedResult.id, FittedResult.day_id).order_by(FittedResult.id)
    for number, day_id in session.execute(rows).all():
        named = f"Day {day_id}, result {number}"
        yield from guarded(session, named, _one_result(session, raw, number, told.of_day.get(day_id, [])))


def _one_result(session: Session, raw: RawStore, number: int, events: list[Event]) -> Iterator[str]:
    row = session.get_one(FittedResult, number)
    named = f"Day {row.day_id}, result {row.id}"
    revision = session.get(DayRevision, row.revision_id)
    if revision is None or revision.day_id != row.day_id:
        yield f"{named}: its revision is not one of that day."
    yield from _told_faults(row, events, named)
    try:
        result = result_from_bytes(raw.path(row.sha256).read_bytes())
    except (*UNREADABLE, StillairError) as error:
        yield f"{named}: cannot be read ({in_a_line(error)})."
        return
    if _has_todays_form(row.summary) and row.summary != json.loads(json.dumps(summarise(result))):
        yield f"{named}: the list shows other numbers than it holds."
    if result.version != row.version:
        yield f"{named}: was made by version {result.version}, its row says {row.version}."


def _told_faults(row: FittedResult, events: list[Event], named: str) -> Iterator[str]:
    mine = [one for one in events if one.kind == "day-fitted" and after_of(one).get("result") == row.id]
    if not mine and _before_events(row, events):
        return
    if len(mine) != 1 or after_of(mine[0]).get("sha256") != row.sha256:
        yield f"{named}: no event tells of it as it is."
    elif canonical(after_of(mine[0]).get("moved")) != canonical(row.moved):
        yield f"{named}: event {mine[0].id} tells of other changes against the result before it."


def _has_todays_form(summary: object) -> bool:
    """An older form is made anew at the next start of the server."""
    return isinstance(summary, dict) and summary.get("format") == SUMMARY_FORMAT


def _before_events(row: FittedResult, events: list[Event]) -> bool:
    """Results that are older than the chain of events have none of their own."""
    found = [one for one in events if one.kind == "day-found"]
    return bool(found) and row.made_at.isoformat() <= found[0].at
