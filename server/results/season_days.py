"""All days with their newest results, or why they have none, from the database alone: no file is opened."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.json_sql import json_parts
from server.archive.tables import Job
from server.days.beside_fit import seen_days
from server.days.facts import briefs_of, newest_revisions
from server.days.season import NoResult, SeasonDay, season_day
from server.days.service import FIT_JOB, REFIT_JOB, list_days
from server.results.tables import FittedResult

STATES = {"queued": "waits", "running": "runs", "failed": "failed", "cancelled": "called off"}
TODO = {
    "waits": "nothing: it is fitted when its turn comes",
    "runs": "nothing: it is being fitted",
    "failed": "open the day and mend what the reason names; every change fits it again",
    "called off": "open the day and fit it from there",
    "not fitted": "open the day and fit it from there",
    "cannot be read": "open its history; an earlier revision may be whole",
}


def season_days(archive: Archive, session: Session) -> list[SeasonDay]:
    """All days, the latest first, from the database alone."""
    results, newest = brief_results(session), newest_revisions(session)
    briefs = briefs_of(archive, session, {*newest.values(), *(row.revision_id for row in results.values())})
    later = {day_id: (row.revision_id, newest[day_id]) for day_id, row in results.items() if day_id in newest}
    seen = seen_days(session, later)
    without = {day_id for day_id in newest if day_id not in seen}
    jobs = _last_jobs(session, without)
    days = []
    for stored in list_days(session):
        row, brief = results.get(stored.id), briefs[newest[stored.id]]
        problem, job = brief.problem, jobs.get(stored.id)
        missing = no_result(problem, job, older=row is not None) if stored.id in without else None
        fitted = briefs[row.revision_id] if row else brief
        days.append(season_day(stored, brief, fitted, row.summary if row else None, missing))
    return days


@dataclass(frozen=True, slots=True)
class BriefResult:
    """Of a day's newest result what the season needs: setups and findings that ask, without the runs."""

    revision_id: int
    summary: dict[str, Any]


@dataclass(frozen=True, slots=True)
class LastJob:
    """How a day's last fit stands."""

    state: str
    error: str | None


def brief_results(session: Session) -> dict[int, BriefResult]:
    """Day number → its newest result in brief."""
    newest = select(func.max(FittedResult.id)).group_by(FittedResult.day_id)
    parts = json_parts(FittedResult.summary, "setups", "asking")
    rows = select(FittedResult.day_id, FittedResult.revision_id, parts).where(FittedResult.id.in_(newest))
    return {
        day_id: BriefResult(revision_id, dict(zip(("setups", "asking"), json.loads(text), strict=True)))
        for day_id, revision_id, text in session.execute(rows)
    }


def _last_jobs(session: Session, day_ids: Collection[int]) -> dict[int, LastJob]:
    """The last fit of each of these days; a day may have hundreds, each with the names of all files."""
    latest = func.row_number().over(partition_by=Job.day_id, order_by=(Job.created_at.desc(), Job.id.desc()))
    fits = select(Job.day_id, Job.state, Job.error, latest.label("place"))
    fits = fits.where(Job.day_id.in_(day_ids), Job.kind.in_((FIT_JOB, REFIT_JOB)))
    of_day = fits.subquery()
    rows = select(of_day.c.day_id, of_day.c.state, of_day.c.error).where(of_day.c.place == 1)
    return {day_id: LastJob(state, error) for day_id, state, error in session.execute(rows)}


def no_result(problem: str, job: LastJob | None, *, older: bool) -> NoResult:
    """Why a day has no result of how it stands."""
    state = "cannot be read" if problem else STATES.get(job.state, "not fitted") if job else "not fitted"
    reason = problem or (job.error if job and job.error else "") or ""
    return NoResult(state, reason, TODO[state], older)
