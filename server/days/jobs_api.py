"""Jobs as JSON; one can be called off."""

from __future__ import annotations

from fastapi import APIRouter
from sqlalchemy import select

from server.archive.jobs import cancel_job, find_job
from server.archive.tables import Job
from server.days.schemas import JobView, Problem
from server.dependencies import Jobs, TheArchive

MOST_JOBS = 100

router = APIRouter(prefix="/api", responses={404: {"model": Problem}, 422: {"model": Problem}})


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
