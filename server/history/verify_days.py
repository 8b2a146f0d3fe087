"""Days and their revisions: are they what their files, their events and the lists say?"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, fields
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event
from server.days.facts import FACTS_FORMAT, Facts, day_facts
from server.days.service import hash_of_files, link_files, list_revisions, revision_files
from server.days.tables import DayRevision, RevisionFacts, StoredDay
from server.errors import StillairError
from server.history.verify_events import Told, after_of
from server.history.verify_rows import guarded
from server.testday.folder import read_folder
from server.testday.values import Day

FIRST_KINDS = ("day-added", "day-found")


def day_numbers(session: Session) -> list[int]:
    """The numbers of all days."""
    return list(session.scalars(select(StoredDay.id).order_by(StoredDay.id)))


def revision_faults(session: Session, told: Told) -> Iterator[str]:
    """Revisions that are not what their files or their events say."""
    for number in day_numbers(session):
        yield from guarded(session, f"Day {number}", _revisions(session, number, told.of_day.get(number, [])))


def _revisions(session: Session, number: int, events: list[Event]) -> Iterator[str]:
    day, revisions = session.get_one(StoredDay, number), list_revisions(session, number)[::-1]
    if [one.number for one in revisions] != list(range(1, len(revisions) + 1)) or not revisions:
        yield f"Day {number}: its revisions are not numbered 1, 2, 3 …"
    if revisions and revisions[0].content_sha256 != day.content_sha256:
        yield f"Day {number}: its first revision has other content than the day was kept with."
    for added in (one for one in events if one.kind == "day-added"):
        if after_of(added).get("sent_as") != day.sent_as:
            yield f"Day {number}: event {added.id} says it was sent under another name."
    for revision in revisions:
        yield from _one_revision(session, revision, events)


def _one_revision(session: Session, revision: DayRevision, events: list[Event]) -> Iterator[str]:
    named = f"Day {revision.day_id}, revision {revision.number}"
    files = revision_files(session, revision.id)
    if hash_of_files(files.items()) != revision.content_sha256:
        yield f"{named}: its files are not those that it was made of."
    first = revision.number == 1
    telling = [one for one in events if _makes(after_of(one), revision.number)]
    mine = [one for one in telling if (one.kind in FIRST_KINDS) == first]
    if len(mine) != 1:
        yield f"{named}: {len(mine)} events tell of it, one should."
        return
    if after_of(mine[0]).get("content_sha256", revision.content_sha256) != revision.content_sha256:
        yield f"{named}: event {mine[0].id} tells of other content."
    if mine[0].kind != "day-found" and mine[0].who != revision.who:
        yield f"{named}: event {mine[0].id} names another person."


def _makes(after: dict[str, object], number: int) -> bool:
    """Whether an event made this revision; a signature names a revision, too, and its result beside it."""
    return after.get("revision") == number and "result" not in after


def day_faults(session: Session, archive: ReadOnlyArchive, scratch: Path) -> Iterator[str]:
    """Days that cannot be read as they stand, or that lists name otherwise than their newest revision does."""
    for number in day_numbers(session):
        yield from guarded(session, f"Day {number}", _one_day(session, archive, number, scratch))


def _one_day(session: Session, archive: ReadOnlyArchive, number: int, scratch: Path) -> Iterator[str]:
    row, revisions = session.get_one(StoredDay, number), list_revisions(session, number)
    for revision in revisions:
        named, facts = f"Day {number}, revision {revision.number}", session.get(RevisionFacts, revision.id)
        is_newest = revision is revisions[0]
        if not is_newest and facts is None:
            continue
        try:
            day = _read(session, archive, revision, scratch)
        except (StillairError, OSError) as error:
            yield f"{named}: cannot be read ({error})"
            continue
        if is_newest:
            yield from _names(row, day, named)
        if facts is not None and facts.format == FACTS_FORMAT and _kept(facts) != _made(day):
            yield f"{named}: lists show something else of it than its files say."


def _read(session: Session, archive: ReadOnlyArchive, revision: DayRevision, scratch: Path) -> Day:
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        return read_folder(link_files(archive, revision_files(session, revision.id), Path(folder)))


def _names(row: StoredDay, day: Day, named: str) -> Iterator[str]:
    """A day whose folder has no date takes that of its logs."""
    if row.name != day.name:
        yield f'{named}: its file calls it "{day.name}", the list "{row.name}".'
    if day.date is not None and row.date != day.date:
        yield f"{named}: its file says {day.date}, the list {row.date or 'no date'}."


def _kept(row: RevisionFacts) -> dict[str, object]:
    return {field.name: getattr(row, field.name) for field in fields(Facts)}


def _made(day: Day) -> object:
    return json.loads(json.dumps(asdict(day_facts(day))))
