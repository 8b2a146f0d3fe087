"""All days with their newest results, or why they have none, from the database alone: no file is opened."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.tables import Job
from server.days.facts import facts_of, newest_revisions
from server.days.season import NoResult, SeasonDay, season_day
from server.days.service import FIT_JOB, REFIT_JOB, list_days
from server.results.service import latest_results

STATES = {"queued": "waits", "running": "runs", "failed": "failed", "cancelled": "called off"}
TODO = {
    "waits": "nothing: it is fitted when its turn comes",
    "runs": "nothing: it is being fitted",
    "failed": "open the day and mend what the reason names; every change fits it again",
    "called off": "open the day; its next change fits it again",
    "not fitted": "open the day; its next change fits it",
    "cannot be read": "open its history; an earlier revision may be whole",
}


def season_days(archive: Archive, session: Session) -> list[SeasonDay]:
    """All days, the latest first, from the database alone."""
    results, newest = latest_results(session), newest_revisions(session)
    facts = facts_of(archive, session, newest)
    fitted = facts_of(archive, session, {day_id: row.revision_id for day_id, row in results.items()})
    without = [day_id for day_id in newest if day_id not in results or results[day_id].revision_id != newest[day_id]]
    jobs = _last_jobs(session, without)
    days = []
    for stored in list_days(session):
        row, of_day = results.get(stored.id), facts[stored.id]
        problem, job = of_day.problem, jobs.get(stored.id)
        missing = no_result(problem, job, older=row is not None) if stored.id in without else None
        summary = row.summary if row else None
        days.append(season_day(stored, of_day, fitted.get(stored.id, of_day), summary, missing))
    return days


def _last_jobs(session: Session, day_ids: Sequence[int]) -> dict[int, Job]:
    """The last fit of each of these days."""
    fits = select(Job).where(Job.day_id.in_(day_ids), Job.kind.in_((FIT_JOB, REFIT_JOB)))
    return {job.day_id or 0: job for job in session.scalars(fits.order_by(Job.created_at, Job.id))}


def no_result(problem: str, job: Job | None, *, older: bool) -> NoResult:
    """Why a day has no result of how it stands."""
    state = "cannot be read" if problem else STATES.get(job.state, "not fitted") if job else "not fitted"
    reason = problem or (job.error if job and job.error else "") or ""
    return NoResult(state, reason, TODO[state], older)
