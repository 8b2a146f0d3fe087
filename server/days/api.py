"""Days, their revisions and jobs as JSON, to be read; a job can be called off."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path
from sqlalchemy import select

from server.archive.jobs import cancel_job, find_job
from server.archive.tables import Job
from server.days.changes import plain
from server.days.revisions import stored_day
from server.days.schemas import (
    DayView,
    DayWithRevisions,
    DayWithSummary,
    JobView,
    Problem,
    RevisionValues,
    RevisionView,
)
from server.days.service import find_day, find_revision, list_days, list_revisions, newest_revision, revision_files
from server.dependencies import Jobs, TheArchive
from server.results.service import latest_results

REFUSALS = {404: {"model": Problem}, 422: {"model": Problem}}
MOST_JOBS = 100

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


@router.get("/jobs", name="api_jobs", tags=["jobs"], summary="The newest jobs")
def jobs(archive: TheArchive) -> list[JobView]:
    """At most the newest hundred."""
    with archive.database.reading() as session:
        chosen = select(Job).order_by(Job.created_at.desc(), Job.id.desc()).limit(MOST_JOBS)
        return [JobView.model_validate(job) for job in session.scalars(chosen)]


@router.get("/jobs/{job_id}", name="api_job", tags=["jobs"], summary="How far a job has come")
def job(job_id: str, archive: TheArchive) -> JobView:
    """One job."""
    with archive.database.reading() as session:
        return JobView.model_validate(find_job(session, job_id))


@router.post("/jobs/{job_id}/cancel", name="api_cancel", tags=["jobs"], summary="Call a job off")
def cancel(job_id: str, archive: TheArchive, runner: Jobs) -> JobView:
    """The job as it then stands; one that has ended stays as it ended."""
    with archive.database.writing() as session:
        cancel_job(session, job_id)
        session.flush()
        view = JobView.model_validate(find_job(session, job_id))
    runner.wake()
    return view


def _values(archive: TheArchive, day_id: int, number: int | None) -> RevisionValues:
    with archive.database.reading() as session:
        found = newest_revision(session, day_id) if number is None else find_revision(session, day_id, number)
        view, files = RevisionView.model_validate(found), revision_files(session, found.id)
    return RevisionValues(revision=view, files=files, day=plain(stored_day(archive, files)))
