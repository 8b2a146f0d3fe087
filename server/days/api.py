"""Days and their revisions as JSON; days are taken in here."""

from __future__ import annotations

from tempfile import TemporaryFile
from typing import Annotated

from fastapi import APIRouter, Path, Query, Request
from starlette.concurrency import run_in_threadpool

from server.days.changes import plain
from server.days.day_shelf import stored_day
from server.days.incoming import UploadedLog, queue_uploaded_logs, queue_uploaded_zip, queue_zip
from server.days.schemas import (
    DayView,
    DayWithRevisions,
    DayWithSummary,
    Problem,
    Queued,
    RevisionValues,
    RevisionView,
    UploadedFolder,
    UploadedLogs,
)
from server.days.service import find_day, find_revision, list_days, list_revisions, newest_revision, revision_files
from server.days.typed_day import NUMBER_FIELDS
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.results.service import latest_results

ZIP, BINARY = "application/zip", {"type": "string", "format": "binary"}
REFUSALS = {404: {"model": Problem}, 422: {"model": Problem}}

router = APIRouter(prefix="/api", responses=REFUSALS)
Number = Annotated[int, Path(ge=1, le=2**31)]


@router.get("/days", name="api_days", tags=["days"], summary="All days, the latest first")
def days(archive: TheArchive) -> list[DayWithSummary]:
    """Each with the summary of its newest result."""
    with archive.database.reading() as session:
        results = latest_results(session)
        return [
            DayWithSummary(
                **DayView.model_validate(day).model_dump(),
                summary=results[day.id].summary if day.id in results else None,
            )
            for day in list_days(session)
        ]


@router.get("/days/{day_id}", name="api_day", tags=["days"], summary="One day with its revisions")
def day(day_id: Number, archive: TheArchive) -> DayWithRevisions:
    """The newest revision first."""
    with archive.database.reading() as session:
        found = DayView.model_validate(find_day(session, day_id)).model_dump()
        revisions = [RevisionView.model_validate(one) for one in list_revisions(session, day_id)]
        return DayWithRevisions(**found, revisions=revisions)


@router.get("/days/{day_id}/revisions/newest", name="api_newest", tags=["days"], summary="A day as it stands")
def newest(day_id: Number, archive: TheArchive) -> RevisionValues:
    """All values of the newest revision."""
    return _values(archive, day_id, None)


@router.get("/days/{day_id}/revisions/{number}", name="api_revision", tags=["days"], summary="A day as it stood")
def revision(day_id: Number, number: Number, archive: TheArchive) -> RevisionValues:
    """All values of one revision."""
    return _values(archive, day_id, number)


@router.post("/days", name="api_add", tags=["days"], status_code=202, summary="Add a day: a zipped folder that came in")
def add(sent: UploadedFolder, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """The upload holds a zipped test-day folder; the job reads, fits and keeps it."""
    return _queued(runner, queue_uploaded_zip(archive, sent.upload_id, person))


@router.post("/days/logs", name="api_add_logs", tags=["days"], status_code=202, summary="Add a day: logs that came in")
def add_logs(sent: UploadedLogs, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """Uploaded logs with mass and air, as the page's form takes them."""
    numbers = {field.name: getattr(sent, field.name) for field in NUMBER_FIELDS}
    fields = {name: "" if number is None else repr(float(number)) for name, number in numbers.items()}
    fields |= {"name": sent.name, "date": sent.date, "coasting": sent.coasting}
    fields["channels"] = "\n".join(f"{role} = {column}" for role, column in sent.channels.items())
    rows = [UploadedLog(row.upload_id, row.setup, row.direction or "") for row in sent.logs]
    return _queued(runner, queue_uploaded_logs(archive, fields, rows, person))


@router.post(
    "/days/zip", name="api_add_zip", tags=["days"], status_code=202, summary="Add a day: the zip is the body",
    openapi_extra={"requestBody": {"required": True, "content": {ZIP: {"schema": BINARY}}}},
)  # fmt: skip
async def add_zip(
    request: Request, *, archive: TheArchive, runner: Jobs, person: CurrentPerson,
    name: Annotated[str, Query(min_length=1, max_length=100)] = "day.zip",
) -> Queued:  # fmt: skip
    """A zipped test-day folder as application/zip; a large one is better sent as an upload, which can be continued."""
    with TemporaryFile(dir=archive.scratch) as content:
        async for piece in request.stream():
            await run_in_threadpool(content.write, piece)
        content.seek(0)
        job_id = await run_in_threadpool(queue_zip, archive, name, content, person)
    return _queued(runner, job_id)


def _queued(runner: Jobs, job_id: str) -> Queued:
    runner.wake()
    return Queued(job_id=job_id)


def _values(archive: TheArchive, day_id: int, number: int | None) -> RevisionValues:
    with archive.database.reading() as session:
        found = newest_revision(session, day_id) if number is None else find_revision(session, day_id, number)
        view, files = RevisionView.model_validate(found), revision_files(session, found.id)
    return RevisionValues(revision=view, files=files, day=plain(stored_day(archive, files)))
