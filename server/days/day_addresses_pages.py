"""What the pages of a test day share: their numbers in addresses, the way up, the way to work that was queued."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Request
from fastapi.responses import RedirectResponse, Response

from server.archive.jobs import JobRunner
from server.templating import Crumb

SEE_OTHER = 303
DayId = Annotated[int, Path(ge=1, le=2**31)]
Wanted = Annotated[float | None, Query(gt=0, le=10)]


def day_crumb(request: Request, day_id: int, name: str) -> Crumb:
    """The way up to a day."""
    return Crumb(name, str(request.app.url_path_for("day", day_id=str(day_id))))


def season_crumb(request: Request) -> Crumb:
    """The way up to all days."""
    return Crumb("Season", str(request.app.url_path_for("days")))


def to_job(request: Request, jobs: JobRunner, job_id: str) -> Response:
    """Have work begun, and show how far it is."""
    jobs.wake()
    return RedirectResponse(request.app.url_path_for("job", job_id=job_id), SEE_OTHER)
