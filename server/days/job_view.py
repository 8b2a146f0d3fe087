"""A job as pages show it."""

from __future__ import annotations

from dataclasses import dataclass

from server.archive.tables import Job


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as the page shows it; `day_id` once it is done."""

    id: str
    label: str
    state: str
    percent: int
    text: str
    error: str
    day_id: int | None


def job_view(job: Job) -> JobView:
    """A job as shown."""
    day_id = int(job.target) if job.state == "done" and job.target else None
    return JobView(job.id, job.label, job.state, round(100 * job.fraction), job.text, job.error or "", day_id)
