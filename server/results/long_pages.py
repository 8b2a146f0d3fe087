"""Long work and its outcomes: a day fitted again, a study of days like it, a season fitted again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, Response

from server.days.day_addresses_pages import to_job
from server.days.season_choice import named_year
from server.days.service import find_day
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.results.refit_job import find_refit, queue_fit_again, queue_season
from server.results.refit_view import RefitView, refit_view
from server.results.service import latest_result
from server.results.study_job import MOST_DAYS, USUAL_DAYS, find_study, queue_study
from server.results.study_view import StudyView, study_view
from server.templating import Crumb, Page, render

router = APIRouter(default_response_class=HTMLResponse)
DayId = Annotated[int, Path(ge=1, le=2**31)]
Number = Annotated[int, Path(ge=1, le=2**31)]


@dataclass(frozen=True, kw_only=True)
class StudyPage(Page):
    """A study of days like one of ours."""

    template: ClassVar[str] = "results/study.html"
    help: ClassVar[str] = "jobs"
    study: StudyView


@dataclass(frozen=True, kw_only=True)
class RefitPage(Page):
    """What became of a season that was fitted again."""

    template: ClassVar[str] = "history/refit.html"
    help: ClassVar[str] = "jobs"
    refit: RefitView


@router.post("/days/{day_id}/fit", name="fit_again")
def fit_again(request: Request, day_id: DayId, archive: TheArchive, jobs: Jobs, person: CurrentPerson) -> Response:
    """The day as it stands, fitted with the program as it is."""
    with archive.database.writing() as session:
        job_id = queue_fit_again(archive, session, day_id, person)
    return to_job(request, jobs, job_id)


@router.post("/days/{day_id}/study", name="study_day")
def study_day(
    request: Request, day_id: DayId, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    days: Annotated[int, Form(ge=1, le=MOST_DAYS)] = USUAL_DAYS,
) -> Response:  # fmt: skip
    """Many made-up days like this one."""
    with archive.database.writing() as session:
        job_id = queue_study(archive, session, day_id, days, person)
    return to_job(request, jobs, job_id)


@router.get("/days/{day_id}/studies/{number}", name="study")
def study(request: Request, day_id: DayId, number: Number, archive: TheArchive) -> HTMLResponse:
    """What came of it."""
    with archive.database.reading() as session:
        day, kept = find_day(session, day_id), find_study(archive, session, day_id, number)
        newest = latest_result(session, day_id)
        view = study_view(kept, newest.id if newest else None)
    there = request.app.url_path_for
    crumbs = (Crumb("Season", str(there("days"))), Crumb(day.name, str(there("result", day_id=str(day_id)))))
    return render(request, StudyPage(title="Days like this one", crumbs=crumbs, study=view))


@router.post("/refits", name="refit_season")
def refit_season(
    request: Request, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    year: Annotated[str, Form(max_length=10)] = "", car: Annotated[str, Form(max_length=200)] = "",
) -> Response:  # fmt: skip
    """All days, or those of a year and a car, fitted with the program as it is."""
    return to_job(request, jobs, queue_season(archive, person, named_year(year), car))


@router.get("/refits/{number}", name="season_refit")
def season_refit(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """What moved, day by day."""
    with archive.database.reading() as session:
        view = refit_view(session, find_refit(archive, session, number))
    there = request.app.url_path_for
    crumbs = (Crumb("Season", str(there("days"))), Crumb("Work", str(there("jobs"))))
    return render(request, RefitPage(title="Fitted again", crumbs=crumbs, refit=view))
