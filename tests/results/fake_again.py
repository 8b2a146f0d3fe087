"""A stand-in for the slow part of fitting again as then, for tests of what is around it."""

from __future__ import annotations

from typing import Any

from server.analysis.result import DayResult
from server.archive.jobs import JobKind
from server.archive.worker import Payload, Progress
from server.days.job_view import AGAIN_JOB, AGAIN_SEASON_JOB
from server.results import again_job
from server.results.again_job import again_work, keep_again
from server.results.again_season import keep_season_again, season_again_work
from tests.results.fake_long import moved_result
from tests.web.made_up import made_up_day_result


def fitted(_raw: Any, _files: Any, then: DayResult, _folder: Any, progress: Progress) -> DayResult:
    """The second day of the archive has moved, all others give what they gave."""
    progress(0.5, "fitting")
    return moved_result() if then.name == "moves" else made_up_day_result("AB")


def one(payload: Payload, progress: Progress) -> Payload:
    """In the worker."""
    again_job.fitted_as_then = fitted
    return again_work(payload, progress)


def season(payload: Payload, progress: Progress) -> Payload:
    """In the worker."""
    again_job.fitted_as_then = fitted
    return season_again_work(payload, progress)


AGAIN_KINDS = {AGAIN_JOB: JobKind(one, keep_again), AGAIN_SEASON_JOB: JobKind(season, keep_season_again)}
