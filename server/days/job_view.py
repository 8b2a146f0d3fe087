"""A job as pages show it, and where what came of it stands."""

from __future__ import annotations

from dataclasses import dataclass

from server.archive.tables import Job
from server.days.service import FIT_JOB

STUDY_JOB, SEASON_JOB, VERIFY_JOB = "study-day", "refit-season", "verify-archive"
PLAN_JOB, PHOTOS_JOB, TUFTS_JOB = "plan-day", "add-photos", "read-tufts"
OPEN = ("queued", "running")
# kind → the route of its outcome, and the words of the link there; what is not here leads to a day's result
OUTCOMES = {
    STUDY_JOB: ("study", "do the intervals hold on such days?"),
    SEASON_JOB: ("season_refit", "what moved"),
    VERIFY_JOB: ("verified", "what was found"),
    PLAN_JOB: ("plan", "open the plan"),
}
OF_THE_DAY = {PHOTOS_JOB: ("tufts", "look at the photos"), TUFTS_JOB: ("tufts", "look at the photos")}


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where the outcome of a job stands: the route's name and its parts, and the words of a link there."""

    route: str
    parts: dict[str, str]
    words: str


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as the page shows it; `day_id` once a day is fitted, `outcome` once there is any.

    reading: files were sent for it, so that another can be sent when it fails.
    """

    id: str
    label: str
    state: str
    percent: int
    text: str
    error: str
    day_id: int | None
    outcome: Outcome | None
    reading: bool

    @property
    def open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in OPEN


def job_view(job: Job) -> JobView:
    """A job as shown."""
    outcome = outcome_of(job)
    day_id = int(outcome.parts["day_id"]) if outcome and outcome.route == "result" else None
    percent, reading = round(100 * job.fraction), job.kind == FIT_JOB
    return JobView(job.id, job.label, job.state, percent, job.text, job.error or "", day_id, outcome, reading)


def outcome_of(job: Job) -> Outcome | None:
    """Where what came of a job stands; None while there is nothing."""
    if job.state != "done" or not job.target:
        return None
    if job.kind in OF_THE_DAY:
        route, words = OF_THE_DAY[job.kind]
        return Outcome(route, {"day_id": str(job.day_id)}, words)
    if job.kind not in OUTCOMES:
        return Outcome("result", {"day_id": job.target}, "open the result")
    route, words = OUTCOMES[job.kind]
    of_day = {"day_id": str(job.day_id)} if job.day_id is not None else {}
    return Outcome(route, {**of_day, "number": job.target}, words)
