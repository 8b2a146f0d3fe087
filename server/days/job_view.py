"""A job as pages show it, and where what came of it stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.archive.outcomes import waiting
from server.archive.tables import Job
from server.days.service import FIT_JOB
from server.testday.rounding import with_uncertainty

STUDY_JOB, SEASON_JOB, VERIFY_JOB = "study-day", "refit-season", "verify-archive"
BACKUP_JOB = "back-up-archive"
BURST_JOB = "read-burst"
UNPACK_JOB = "unpack-season"
AGAIN_JOB, AGAIN_SEASON_JOB = "fit-as-then", "fit-season-as-then"
PLAN_JOB, PHOTOS_JOB, FOLDER_PHOTOS_JOB, TUFTS_JOB = "plan-day", "add-photos", "photos-of-folder", "read-tufts"
OPEN = ("queued", "running")
EARLY = "early"  # what a fit's payload gains on the way: [{"name", "values", "coast_downs"}]
# kind → the route of its outcome, and the words of the link there; what is not here leads to a day's result
OUTCOMES = {
    STUDY_JOB: ("study", "do the intervals hold on such days?"),
    SEASON_JOB: ("season_refit", "what moved"),
    VERIFY_JOB: ("verified", "what was found"),
    PLAN_JOB: ("plan", "open the plan"),
    BACKUP_JOB: ("event", "what was copied"),
    AGAIN_JOB: ("fitted_as_then", "are the numbers those of then?"),
    AGAIN_SEASON_JOB: ("season_as_then", "are the numbers those of then?"),
}
OF_THE_DAY = dict.fromkeys((PHOTOS_JOB, FOLDER_PHOTOS_JOB, TUFTS_JOB, BURST_JOB), ("tufts", "look at the photos"))
OF_ALL = {UNPACK_JOB: ("days", "look at the season")}


EARLY_WORDS = {"SCx": ("SCx", "m²", 1.0), "SCz": ("SCz", "m²", 1.0), "balance_front": ("balance", "% front", 100.0)}


@dataclass(frozen=True, slots=True)
class Outcome:
    """Where the outcome of a job stands: the route's name and its parts, and the words of a link there."""

    route: str
    parts: dict[str, str]
    words: str


@dataclass(frozen=True, slots=True)
class EarlyLine:
    """A setup's early estimate."""

    setup: str
    values: tuple[str, ...]
    coast_downs: int


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as the page shows it; `day_id` once a day is fitted, `outcome` once there is any.

    reading: files were sent for it, so that another can be sent when it fails. early: an estimate of each setup that is
    there before the fit ends, in the day's order: (name, values with their interval in words, coast-downs).
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
    early: tuple[EarlyLine, ...] = ()

    @property
    def open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in OPEN


def job_view(job: Job) -> JobView:
    """A job as shown."""
    outcome = outcome_of(job)
    day_id = int(outcome.parts["day_id"]) if outcome and outcome.route == "result" else None
    percent, reading = round(100 * job.fraction), job.kind == FIT_JOB
    early = early_lines(job.payload.get(EARLY, ())) if job.state in OPEN else ()
    text = text_of(job)
    return JobView(job.id, job.label, job.state, percent, text, job.error or "", day_id, outcome, reading, early)


def text_of(job: Job) -> str:
    """What is being done for a job, or what it waits for."""
    return waiting.get(job.id, job.text)


def early_lines(told: Sequence[Mapping[str, Any]]) -> tuple[EarlyLine, ...]:
    """Early estimates in words."""
    return tuple(EarlyLine(one["name"], tuple(_words(one["values"])), one["coast_downs"]) for one in told)


def _words(values: Mapping[str, Sequence[float]]) -> Iterator[str]:
    for name, (words, unit, scale) in EARLY_WORDS.items():
        if name in values:
            value, _, u95 = values[name]
            yield f"{words} {with_uncertainty(scale * value, scale * u95)} {unit}"


def outcome_of(job: Job) -> Outcome | None:
    """Where what came of a job stands; None while there is nothing."""
    if job.state != "done" or not job.target:
        return None
    if job.kind in OF_THE_DAY:
        route, words = OF_THE_DAY[job.kind]
        return Outcome(route, {"day_id": str(job.day_id)}, words)
    if job.kind in OF_ALL:
        route, words = OF_ALL[job.kind]
        return Outcome(route, {}, words)
    if job.kind not in OUTCOMES:
        return Outcome("result", {"day_id": job.target}, "open the result")
    route, words = OUTCOMES[job.kind]
    of_day = {"day_id": str(job.day_id)} if job.day_id is not None else {}
    return Outcome(route, {**of_day, "number": job.target}, words)
