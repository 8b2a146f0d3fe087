"""Results fitted again as then: one, or the newest of each day of a season; what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, Response

from server.days.day_addresses_pages import to_job
from server.days.season_choice import named_year
from server.days.service import find_day
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.results.again_job import find_again, queue_again
from server.results.again_season import find_season_again, queue_season_again
from server.results.again_words import AgainView, again_view, minute, season_sentence
from server.templating import Crumb, Page, render

router = APIRouter(default_response_class=HTMLResponse)
Number = Annotated[int, Path(ge=1, le=2**31)]


@dataclass(frozen=True, kw_only=True)
class AgainPage(Page):
    """A result that was fitted again as then."""

    template: ClassVar[str] = "results/again.html"
    help: ClassVar[str] = "again"
    again: AgainView


@dataclass(frozen=True, kw_only=True)
class SeasonAgainPage(Page):
    """A season of results that were."""

    template: ClassVar[str] = "results/again_season.html"
    help: ClassVar[str] = "again"
    sentence: str
    scope: str
    version_then: str
    by: str
    at: str
    lines: tuple[AgainView, ...]


@router.post("/days/{day_id}/results/{result_id}/again", name="fit_as_then")
def fit_as_then(
    request: Request, day_id: Number, result_id: Number, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson
) -> Response:
    """A result fitted again from the files, options and seed that were kept with it."""
    with archive.database.writing() as session:
        job_id = queue_again(archive, session, day_id, result_id, person)
    return to_job(request, jobs, job_id)


@router.get("/days/{day_id}/again/{number}", name="fitted_as_then")
def fitted_as_then(request: Request, day_id: Number, number: Number, archive: TheArchive) -> HTMLResponse:
    """What came of it."""
    with archive.database.reading() as session:
        day, kept = find_day(session, day_id), find_again(archive, session, day_id, number)
    view = again_view(kept.number, kept.report, kept.sha256, kept.who, kept.at)
    there = request.app.url_path_for
    of_result = str(there("old_result", day_id=str(day_id), result_id=str(kept.result_id)))
    crumbs = (
        Crumb("Season", str(there("days"))),
        Crumb(day.name, str(there("result", day_id=str(day_id)))),
        Crumb(f"Result {kept.result_id}", of_result),
    )
    return render(request, AgainPage(title="Fitted again as then", crumbs=crumbs, again=view))


@router.post("/again", name="fit_season_as_then")
def fit_season_as_then(
    request: Request, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    year: Annotated[str, Form(max_length=10)] = "", car: Annotated[str, Form(max_length=200)] = "",
) -> Response:  # fmt: skip
    """The newest result of every day, or of those of a year and a car."""
    return to_job(request, jobs, queue_season_again(archive, person, named_year(year), car))


@router.get("/again/{number}", name="season_as_then")
def season_as_then(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """Result by result."""
    with archive.database.reading() as session:
        kept = find_season_again(archive, session, number)
        each = [find_again(archive, session, one["day_id"], one["number"]) for one in kept.results]
    lines = tuple(again_view(one.number, one.report, one.sha256, one.who, one.at) for one in each)
    there = request.app.url_path_for
    page = SeasonAgainPage(
        title="Fitted again as then",
        crumbs=(Crumb("Season", str(there("days"))), Crumb("Work", str(there("jobs")))),
        sentence=season_sentence([one.outcome for one in lines], [one.day for one in lines]),
        scope=kept.scope,
        version_then=kept.version,
        by=kept.who or "nobody named",
        at=minute(kept.at),
        lines=lines,
    )
    return render(request, page)
