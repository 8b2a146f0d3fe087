"""The report of a day's result, from what the archive holds."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.events import head
from server.archive.tables import RawFile
from server.days.service import find_day, revision_files
from server.days.sign_off import sign_off_of
from server.days.tables import DayRevision
from server.errors import NotFoundError, StillairError
from server.reports.content import Report
from server.reports.day_report import Origin, day_report
from server.results.service import ResultShelf, latest_result
from server.results.tables import FittedResult

NO_RESULT = "This day has no result yet; there is nothing to report."


def report_of_day(archive: Archive, results: ResultShelf, day_id: int, result_id: int | None) -> Report:
    """The report of a result, the newest when none is named. Raises NotFoundError, StillairError."""
    with archive.database.reading() as session:
        day, row = find_day(session, day_id), _result(session, day_id, result_id)
        revision = session.get_one(DayRevision, row.revision_id)
        origin = Origin(
            day_name=day.name,
            date=str(day.date or "no date"),
            revision=revision.number,
            result=row.id,
            result_sha256=row.sha256,
            made_at=f"{row.made_at:%Y-%m-%d %H:%M}",
            version=row.version,
            files=_files(session, revision.id),
            head=head(session),
        )
        signed, sha256 = sign_off_of(session, day_id), row.sha256
    return day_report(results.read(sha256), origin, signed)


def _result(session: Session, day_id: int, result_id: int | None) -> FittedResult:
    if result_id is None:
        row = latest_result(session, day_id)
        if row is None:
            raise StillairError(NO_RESULT)
        return row
    named = session.get(FittedResult, result_id)
    if named is None or named.day_id != day_id:
        raise NotFoundError(f"This day has no result {result_id}.")
    return named


def _files(session: Session, revision_id: int) -> tuple[tuple[str, str, int], ...]:
    files = revision_files(session, revision_id)
    sizes = dict(
        session.execute(select(RawFile.sha256, RawFile.size_bytes).where(RawFile.sha256.in_(files.values()))).all()
    )
    return tuple((path, sha256, sizes.get(sha256, 0)) for path, sha256 in sorted(files.items()))
