"""A season that was taken apart, kept: rows, history and files in one transaction of an empty archive, or nothing.

Files are given a second name in the raw store before the transaction ends. What was going to be kept is written down
first, so that after a power cut or a kill the next start lets go of files that no row names.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import OperationalError, StatementError
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.copying import count_on
from server.archive.database import after_commit
from server.archive.disk import sync_folder
from server.archive.events import record
from server.archive.tables import Event, RawFile
from server.correlation.notes import DECIDED
from server.correlation.tables import CorrelationMargins, DecisionNote
from server.days.tables import ColumnChoice, StoredDay
from server.errors import StillairError, UploadError
from server.history.verify_correlation import correlation_faults
from server.history.verify_days import day_faults, revision_faults
from server.history.verify_events import Told, event_faults
from server.history.verify_predictions import prediction_faults
from server.history.verify_results import result_faults
from server.history.verify_tufts import tuft_faults
from server.packing.carried import IN_PARTS, TABLES, hashes_in, row_of
from server.packing.past import event_of, hashes_told
from server.packing.season_zip import HISTORY, MANIFEST
from server.packing.unpacking import Unpacked
from server.predictions.service import ADDED
from server.predictions.tables import PredictionSet, SetupMatch, TableMapping

UNPACKED = "season-unpacked"
JOURNAL = "unpacking.txt"
NAMES_EVENT = ("signed", "released")  # what an amendment opens, what a release that is taken back was
PROPOSALS = (ColumnChoice, TableMapping)  # of an archive that has its own already, those stay
Rows = Mapping[str, list[Any]]
NOT_EMPTY = (
    "A packed season goes into an empty archive, and this one holds {there}; name another folder with --data, or start "
    "a server on one."
)
UNKNOWN = "{name} holds rows or events that this Stillair does not know; nothing was unpacked."
NO_FILE = "{name} names a file {sha256}… that it does not hold; nothing was unpacked."
NOT_AS_TOLD = "What {name} holds is not what its history tells: {fault} Nothing was unpacked."


def check_empty(session: Session) -> None:
    """Raises StillairError, with what is there, for an archive that holds anything of a season."""
    counts = {
        "test day": StoredDay.id,
        "set of predictions": PredictionSet.id,
        "decision": DecisionNote.id,
        "matched name": SetupMatch.id,
    }
    found = {words: session.scalar(select(func.count(key))) or 0 for words, key in counts.items()}
    names = [f"“{name}”" for name in session.scalars(select(StoredDay.name).order_by(StoredDay.id).limit(3))]
    told = [_counted(words, number) for words, number in found.items() if number]
    if names and told:
        told[0] += f" ({', '.join(names)}{' …' if found['test day'] > len(names) else ''})"
    if not told and session.scalar(select(func.count()).select_from(CorrelationMargins)):
        told = ["margins of a car"]
    if told:
        raise StillairError(NOT_EMPTY.format(there=", ".join(told)))


def _counted(words: str, number: int) -> str:
    plural = "sets of predictions" if words.startswith("set") else f"{words}s"
    return f"{number} {words if number == 1 else plural}"


def bring(archive: Archive, unpacked: Unpacked, who: str) -> int:
    """Keep a season that was taken apart; gives how many days. Raises StillairError, and nothing is kept."""
    with archive.database.writing() as session:
        return bring_within(archive, session, unpacked, who)


def bring_within(archive: Archive, session: Session, unpacked: Unpacked, who: str) -> int:
    """The same inside a write transaction that is open already."""
    _write_down(archive, unpacked)
    try:
        days = _bring(archive, session, unpacked, who)
    except BaseException:
        with suppress(StillairError):  # a database that went away; the next start sweeps
            sweep_unpacked(archive)
        raise
    after_commit(session, lambda: strike_out(archive))
    return days


def _write_down(archive: Archive, unpacked: Unpacked) -> None:
    """Beside the raw files, what is going to be kept."""
    journal = _journal(archive)
    journal.parent.mkdir(parents=True, exist_ok=True)
    with journal.open("w", encoding="utf-8") as out:
        out.writelines(f"{sha256}\n" for sha256 in unpacked.at)
        out.flush()
        os.fsync(out.fileno())
    sync_folder(journal.parent)


def _journal(archive: Archive) -> Path:
    return archive.raw.folder / JOURNAL


def strike_out(archive: Archive) -> None:
    """All that was written down is kept, and rows name it."""
    _journal(archive).unlink(missing_ok=True)


def sweep_unpacked(archive: Archive) -> None:
    """Let go of files that an unpacking laid down and no row names: of one that failed or was killed."""
    if not _journal(archive).is_file():
        return
    hashes = [line for line in _journal(archive).read_text("utf-8").split("\n") if len(line) == 64]
    with archive.database.reading() as session:
        kept: set[str] = set()
        for part in _parts(hashes):
            kept |= set(session.scalars(select(RawFile.sha256).where(RawFile.sha256.in_(part))))
    for sha256 in set(hashes) - kept:
        archive.raw.let_go(sha256)
    strike_out(archive)


def _parts(hashes: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(hashes), IN_PARTS):
        yield hashes[start : start + IN_PARTS]


def _bring(archive: Archive, session: Session, unpacked: Unpacked, who: str) -> int:
    check_empty(session)
    with _known(unpacked.name):
        days = _keep(archive, session, unpacked, who)
    _check(archive, session, unpacked)
    return days


@contextmanager
def _known(name: str) -> Iterator[None]:
    """Rows and events that no archive wrote end the work in one sentence, whatever the database says of them."""
    try:
        yield
    except OperationalError:
        raise  # of the disk or the server, not of what was sent
    except (StatementError, LookupError, TypeError, ValueError, AttributeError) as error:
        raise UploadError(UNKNOWN.format(name=name)) from error


def _keep(archive: Archive, session: Session, unpacked: Unpacked, who: str) -> int:
    events = [event_of(line) for line in unpacked.events()]
    needed = {sha256 for line in unpacked.rows() for sha256 in hashes_in(line)}
    needed |= {sha256 for event in events for sha256 in hashes_told(event) & unpacked.at.keys()}
    for sha256 in sorted(needed):
        if sha256 not in unpacked.at:
            raise UploadError(NO_FILE.format(name=unpacked.name, sha256=sha256[:12]))
        archive.raw.add(session, unpacked.at[sha256], sha256, link=True)
    rows = _rows(unpacked)
    for table in TABLES:
        if table in PROPOSALS and session.scalar(select(func.count()).select_from(table)):
            continue
        session.add_all(rows.get(table.__tablename__, ()))
        session.flush()
        count_on(session.connection(), table.__table__)  # type: ignore[arg-type]
    _tell(archive, session, unpacked, events, rows=rows, who=who)
    return len(rows.get("days", ()))


def _rows(unpacked: Unpacked) -> dict[str, list[Any]]:
    """Rows by their table; what names a day or a decision that is not there names none."""
    found: dict[str, list[Any]] = {}
    for line in _settled(list(unpacked.rows())):
        found.setdefault(line["table"], []).append(row_of(line))
    return found


def _settled(lines: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    days, notes = _numbers(lines)
    for line in lines:
        if line.get("table") == "prediction_sets" and line.get("day_id") not in days:
            yield {**line, "day_id": None}
        elif line.get("table") == "decision_notes" and line.get("supersedes_id") not in notes:
            yield {**line, "supersedes_id": None}
        else:
            yield line


def _numbers(lines: list[dict[str, Any]]) -> tuple[set[Any], set[Any]]:
    days = {line.get("id") for line in lines if line.get("table") == "days"}
    return days, {line.get("id") for line in lines if line.get("table") == "decision_notes"}


def _tell(
    archive: Archive, session: Session, unpacked: Unpacked, events: list[Event], *, rows: Rows, who: str
) -> None:  # fmt: skip
    """The history told again in this archive's own chain, and one event more that says where it is from."""
    days, notes = {day.id for day in rows.get("days", ())}, {note.id for note in rows.get("decision_notes", ())}
    became: dict[int, int] = {}
    for event in events:
        before, after = (json.loads(text) if text is not None else None for text in (event.before, event.after))
        for named in (name for name in NAMES_EVENT if isinstance(before, dict) and before.get(name) in became):
            before = {**before, named: became[before[named]]}
        if event.kind == ADDED and isinstance(after, dict) and after["row"].get("day_id") not in days:
            after = {**after, "row": {**after["row"], "day_id": None}}
        if event.kind == DECIDED and isinstance(after, dict) and after["row"].get("supersedes_id") not in notes:
            after = {**after, "row": {**after["row"], "supersedes_id": None}}
        told = record(
            session, who=event.who, kind=event.kind, subject=event.subject, reason=event.reason, at=event.at,
            day_id=event.day_id if event.day_id in days else None, before=before, after=after,
        )  # fmt: skip
        became[event.id] = told.id
    record(session, who=who, kind=UNPACKED, subject=str(unpacked.manifest.get("scope", ""))[:200], after=_from(
        archive, session, unpacked, len(events), len(days)
    ))  # fmt: skip


def _from(archive: Archive, session: Session, unpacked: Unpacked, events: int, days: int) -> dict[str, Any]:
    """Where it is from: the manifest and the history as they were packed become raw files."""
    kept, history = (archive.raw.add(session, unpacked.folder / name).sha256 for name in (MANIFEST, HISTORY))
    newest = unpacked.manifest.get("newest_event")
    return {
        "manifest": kept, "history": history, "days": days, "events": events, "newest_event": newest,
        "program": unpacked.manifest.get("program"),
    }  # fmt: skip


def _check(archive: Archive, session: Session, unpacked: Unpacked) -> None:
    """What `verify` would find of rows, results and history, found before anything is kept."""
    session.expire_all()
    told = Told.read(session)
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        looks = (
            event_faults(session, told),
            revision_faults(session, told),
            result_faults(session, archive.raw, told),
            day_faults(session, archive, Path(scratch)),  # type: ignore[arg-type]  # has all that is looked at
            tuft_faults(session, told),
            prediction_faults(session, archive.raw, told),
            correlation_faults(session, told),
        )
        for fault in (fault for look in looks for fault in look):
            raise UploadError(NOT_AS_TOLD.format(name=unpacked.name, fault=fault))
