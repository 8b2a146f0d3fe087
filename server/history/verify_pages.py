"""The check of the archive: asked for, and what it found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, Response

from server.days.day_addresses_pages import to_job
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.history.verify_job import KeptReport, find_report, queue_verify
from server.templating import Crumb, Page, render

router = APIRouter(default_response_class=HTMLResponse)


@dataclass(frozen=True, kw_only=True)
class VerifiedPage(Page):
    """What a check of the archive found."""

    template: ClassVar[str] = "history/verified.html"
    help: ClassVar[str] = "jobs"
    report: KeptReport
    at: str


@router.post("/verified", name="verify")
def verify(request: Request, archive: TheArchive, jobs: Jobs, person: CurrentPerson) -> Response:
    """Every hash, event, revision and result looked at."""
    with archive.database.writing() as session:
        job_id = queue_verify(archive, session, person)
    return to_job(request, jobs, job_id)


@router.get("/verified/{number}", name="verified")
def verified(request: Request, number: Annotated[int, Path(ge=1, le=2**31)], archive: TheArchive) -> HTMLResponse:
    """What was found."""
    with archive.database.reading() as session:
        report = find_report(archive, session, number)
    there = request.app.url_path_for
    crumbs = (Crumb("Season", str(there("days"))), Crumb("History", str(there("history"))))
    at = f"{report.at[:16].replace('T', ' ')} UTC"
    return render(request, VerifiedPage(title="Check of the archive", crumbs=crumbs, report=report, at=at))
