"""Is all that was kept as it was? Every hash, every link between rows, files and events, one sentence a fault."""

from __future__ import annotations

import json
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from server.archive.events import chain_faults
from server.archive.raw_files import RawStore, sha256_of
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event, RawFile
from server.days.service import hash_of_files, link_files, list_days, list_revisions, revision_files
from server.days.tables import DayRevision, StoredDay
from server.errors import StillairError
from server.results.codec import result_from_bytes
from server.results.summary import SUMMARY_FORMAT, summarise
from server.results.tables import FittedResult
from server.testday.folder import read_folder

Progress = Callable[[float, str], None]
SEALED_TABLES = ("events", "day_revisions", "revision_files", "results")
SEALS = frozenset(f"{table}_no_{verb}" for table in SEALED_TABLES for verb in ("update", "delete"))
FIRST_KINDS = ("day-added", "day-found")
UNREADABLE = (ValueError, KeyError, TypeError, OSError, zipfile.BadZipFile)


def faults(archive: ReadOnlyArchive, progress: Progress = lambda _fraction, _text: None) -> Iterator[str]:
    """A sentence for each thing that is not as it was kept; all of it as it stood at one moment."""
    with archive.database.reading() as session:
        progress(0.0, "the database")
        yield from database_faults(session)
        progress(0.02, "the chain of events")
        yield from (f"The chain of events: {fault.text}." for fault in chain_faults(session))
        yield from raw_faults(session, archive.raw, progress)
        progress(0.7, "days and results")
        events = _events_of_days(session)
        yield from revision_faults(session, events)
        yield from result_faults(session, archive.raw, events)
        yield from day_faults(session, archive)
    progress(0.9, "samples")
    yield from sample_faults(archive)


def database_faults(session: Session) -> Iterator[str]:
    """What SQLite finds in its own file, rows that name rows that are not there, seals that were taken off."""
    for (said,) in session.execute(text("PRAGMA integrity_check")):
        if said != "ok":
            yield f"The database: {said}."
    for table, row, other, _ in session.execute(text("PRAGMA foreign_key_check")):
        yield f"The database: row {row} of {table} names a row of {other} that is not there."
    triggers = set(session.scalars(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")))
    for name in sorted(SEALS - triggers):
        yield f"The database: the seal {name} is missing."


def raw_faults(session: Session, raw: RawStore, progress: Progress) -> Iterator[str]:
    """Files whose bytes are not those that were kept."""
    rows = session.execute(select(RawFile.sha256, RawFile.size_bytes).order_by(RawFile.sha256)).all()
    total, done = sum(size for _, size in rows) or 1, 0
    for sha256, size in rows:
        progress(0.05 + 0.65 * done / total, "raw files")
        done += size
        try:
            file = raw.path(sha256)
            found = sha256_of(file)
            if file.stat().st_size != size:
                yield f"Raw file {sha256}: has {file.stat().st_size} bytes, {size} were kept."
            if found != sha256:
                yield f"Raw file {sha256}: its bytes are not those that were kept; they have the SHA-256 {found}."
        except (StillairError, OSError) as error:
            yield f"Raw file {sha256}: cannot be read ({error})."


def revision_faults(session: Session, events: Mapping[int, list[Event]]) -> Iterator[str]:
    """Revisions that are not what their files or their events say."""
    for day in session.scalars(select(StoredDay).order_by(StoredDay.id)):
        revisions = list_revisions(session, day.id)[::-1]
        if [one.number for one in revisions] != list(range(1, len(revisions) + 1)) or not revisions:
            yield f"Day {day.id}: its revisions are not numbered 1, 2, 3 …"
        if revisions and revisions[0].content_sha256 != day.content_sha256:
            yield f"Day {day.id}: its first revision has other content than the day was kept with."
        for revision in revisions:
            yield from _one_revision(session, revision, events.get(day.id, []))


def _one_revision(session: Session, revision: DayRevision, events: list[Event]) -> Iterator[str]:
    named = f"Day {revision.day_id}, revision {revision.number}"
    files = revision_files(session, revision.id)
    if hash_of_files(files.items()) != revision.content_sha256:
        yield f"{named}: its files are not those that it was made of."
    first = revision.number == 1
    telling = [one for one in events if _after(one).get("revision") == revision.number]
    mine = [one for one in telling if (one.kind in FIRST_KINDS) == first]
    if len(mine) != 1:
        yield f"{named}: {len(mine)} events tell of it, one should."
        return
    after = _after(mine[0])
    if after.get("content_sha256", revision.content_sha256) != revision.content_sha256:
        yield f"{named}: event {mine[0].id} tells of other content."
    if mine[0].kind != "day-found" and mine[0].who != revision.who:
        yield f"{named}: event {mine[0].id} names another person."


def result_faults(session: Session, raw: RawStore, events: Mapping[int, list[Event]]) -> Iterator[str]:
    """Results that cannot be read, whose summary says something else, or that no event tells of."""
    for row in session.scalars(select(FittedResult).order_by(FittedResult.id)):
        named = f"Day {row.day_id}, result {row.id}"
        revision = session.get(DayRevision, row.revision_id)
        if revision is None or revision.day_id != row.day_id:
            yield f"{named}: its revision is not one of that day."
        try:
            result = result_from_bytes(raw.path(row.sha256).read_bytes())
        except (*UNREADABLE, StillairError) as error:
            yield f"{named}: cannot be read ({error})."
            continue
        if _has_todays_form(row.summary) and row.summary != json.loads(json.dumps(summarise(result))):
            yield f"{named}: the list shows other numbers than it holds."
        if result.version != row.version:
            yield f"{named}: was made by version {result.version}, its row says {row.version}."
        of_day = events.get(row.day_id, [])
        mine = [one for one in of_day if one.kind == "day-fitted" and _after(one).get("result") == row.id]
        if not mine and _before_events(row, of_day):
            continue
        if len(mine) != 1 or _after(mine[0]).get("sha256") != row.sha256:
            yield f"{named}: no event tells of it as it is."


def day_faults(session: Session, archive: ReadOnlyArchive) -> Iterator[str]:
    """Days that cannot be read as they stand, or that lists name otherwise than their file does."""
    scratch = archive.folder / "scratch"
    scratch.mkdir(exist_ok=True)
    for day in list_days(session):
        for revision in list_revisions(session, day.id)[:1]:
            try:
                with tempfile.TemporaryDirectory(dir=scratch) as folder:
                    files = revision_files(session, revision.id)
                    read_folder(link_files(archive, files, Path(folder)))
            except (StillairError, OSError) as error:
                yield f"Day {day.id}, revision {revision.number}: cannot be read ({error})"


def sample_faults(archive: ReadOnlyArchive) -> Iterator[str]:
    """Samples that are not as they were written; without the file there are none to look at."""
    if not (archive.folder / "samples.sqlite3").is_file():
        return
    try:
        for sha256 in archive.samples.hashes():
            for fault in archive.samples.verify(sha256):
                yield f"Samples of {sha256}: {fault}"
    except StillairError as error:
        yield f"Samples: {error}"


def counted(session: Session) -> str:
    """What there is to look at, in words."""
    tables = {
        "days": StoredDay.id,
        "revisions": DayRevision.id,
        "results": FittedResult.id,
        "raw files": RawFile.sha256,
        "events": Event.id,
    }
    counts = {name: session.scalar(select(func.count(key))) for name, key in tables.items()}
    return ", ".join(f"{number} {name}" for name, number in counts.items())


def _events_of_days(session: Session) -> dict[int, list[Event]]:
    found: dict[int, list[Event]] = {}
    for event in session.scalars(select(Event).where(Event.day_id.is_not(None)).order_by(Event.id)):
        found.setdefault(event.day_id or 0, []).append(event)
    return found


def _has_todays_form(summary: object) -> bool:
    """An older form is made anew at the next start of the server."""
    return isinstance(summary, dict) and summary.get("format") == SUMMARY_FORMAT


def _after(event: Event) -> dict[str, object]:
    try:
        after = json.loads(event.after or "null")
    except ValueError:
        return {}
    return after if isinstance(after, dict) else {}


def _before_events(row: FittedResult, events: list[Event]) -> bool:
    """Results that are older than the chain of events have none of their own."""
    found = [one for one in events if one.kind == "day-found"]
    return bool(found) and row.made_at.isoformat() <= found[0].at
