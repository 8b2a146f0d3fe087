"""Use cases of results: keep one, find a day's latest, read it back whole."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.archive.events import PROGRAM, record
from server.days.tables import DayRevision
from server.errors import NotFoundError
from server.results.codec import result_from_bytes, result_to_bytes
from server.results.moved import moved
from server.results.run_part import RunParts
from server.results.summary import SUMMARY_FORMAT, Summary, summarise
from server.results.tables import FittedResult

RESULTS_IN_MEMORY = 8


def write_result(result: DayResult, file: Path) -> None:
    """Write a result whole."""
    file.write_bytes(result_to_bytes(result))


@dataclass(frozen=True, slots=True)
class Told:
    """What a row says of a written result: read from the file before the write lock is taken, where many are kept."""

    version: str
    summary: Summary


def told_by(file: Path) -> Told:
    """Read a written result."""
    result = result_from_bytes(file.read_bytes())
    return Told(result.version, summarise(result))


def keep_result(
    archive: Archive,
    session: Session,
    revision: DayRevision,
    file: Path,
    *,
    who: str = PROGRAM,
    told: Told | None = None,
) -> FittedResult:
    """Keep a written result as the latest of a day; the very same one of the same revision is kept once."""
    told = told or told_by(file)
    raw = archive.raw.add(session, file)
    latest = latest_result(session, revision.day_id)
    if latest is not None and (latest.sha256, latest.revision_id) == (raw.sha256, revision.id):
        return latest
    summary = told.summary
    row = FittedResult(
        day_id=revision.day_id,
        revision_id=revision.id,
        sha256=raw.sha256,
        version=told.version,
        summary=summary,
        moved=moved(summary_of(archive, latest), summary) if latest else [],
    )
    session.add(row)
    session.flush()
    record(
        session,
        who=who,
        kind="day-fitted",
        day_id=revision.day_id,
        subject=f"revision {revision.number}",
        before={"result": latest.id, "sha256": latest.sha256} if latest else None,
        after={"result": row.id, "sha256": raw.sha256, "version": row.version, "moved": row.moved},
    )
    return row


def summary_of(archive: Archive, row: FittedResult) -> Summary:
    """A result's summary, made anew from the result where it has an older form."""
    if isinstance(row.summary, dict) and row.summary.get("format") == SUMMARY_FORMAT:
        return row.summary
    return summarise(result_from_bytes(archive.raw.path(row.sha256).read_bytes()))


def renew_summaries(archive: Archive) -> None:
    """Bring the summaries of all results to today's form; the results themselves stay as they are."""
    with archive.database.writing() as session:
        for row in session.scalars(select(FittedResult)):
            row.summary = summary_of(archive, row)


def results_of(session: Session, day_id: int, most: int | None = None) -> list[FittedResult]:
    """All results of a day, or the `most` newest of them; the newest first."""
    chosen = select(FittedResult).where(FittedResult.day_id == day_id).order_by(FittedResult.id.desc()).limit(most)
    return list(session.scalars(chosen))


def find_result(session: Session, day_id: int, result_id: int) -> FittedResult:
    """One result of a day, superseded or not. Raises NotFoundError."""
    row = session.get(FittedResult, result_id)
    if row is None or row.day_id != day_id:
        raise NotFoundError(f"Test day number {day_id} has no result number {result_id}.")
    return row


def latest_result(session: Session, day_id: int) -> FittedResult | None:
    """The newest result of a day."""
    newest = select(FittedResult).where(FittedResult.day_id == day_id).order_by(FittedResult.id.desc()).limit(1)
    return session.scalar(newest)


def latest_results(session: Session) -> dict[int, FittedResult]:
    """Day number → its newest result, for all days."""
    newest = select(func.max(FittedResult.id)).group_by(FittedResult.day_id)
    rows = session.scalars(select(FittedResult).where(FittedResult.id.in_(newest)))
    return {row.day_id: row for row in rows}


class ResultShelf:
    """Results read back whole, the last few kept in memory; parts: what tells of one run alone."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._held: OrderedDict[str, DayResult] = OrderedDict()
        self._lock = Lock()
        self.parts = RunParts(archive.raw.path)

    def of_day(self, session: Session, day_id: int) -> tuple[FittedResult, DayResult]:
        """A day's newest result. Raises NotFoundError when the day has none."""
        row = latest_result(session, day_id)
        if row is None:
            raise NotFoundError(f"Test day number {day_id} has no result yet.")
        return row, self.read(row.sha256)

    def read(self, sha256: str) -> DayResult:
        """The result whose file has this hash."""
        with self._lock:
            if sha256 in self._held:
                self._held.move_to_end(sha256)
                return self._held[sha256]
        result = result_from_bytes(self._archive.raw.path(sha256).read_bytes())
        with self._lock:
            self._held[sha256] = result
            while len(self._held) > RESULTS_IN_MEMORY:
                self._held.popitem(last=False)
        return result
