"""Pages of a day's result: the whole, each part under its own address, and the figures with their tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from server.analysis.result import DayResult
from server.days.service import find_day, revision_files
from server.days.tables import DayRevision, StoredDay
from server.dependencies import Results, TheArchive
from server.errors import NotFoundError
from server.figures.table import Table
from server.results.again_job import newest_again
from server.results.figure_words import FIGURE_WORDS, figure_words
from server.results.moved_view import MovedView, moved_view
from server.results.next_step import WANTED_U95_M2
from server.results.page_figures import Figure, budget_of, has_section, page_figures
from server.results.service import find_result, latest_result
from server.results.study_job import newest_study, study_on_its_way
from server.results.study_view import StudyPart, study_part
from server.results.tables import FittedResult
from server.results.view import ResultView, result_view
from server.templating import Crumb, Page, is_htmx, render, render_part

if TYPE_CHECKING:
    from server.figures.catalogue import Plot

__all__ = ["FIGURE_WORDS", "SECTIONS", "router"]

router = APIRouter(default_response_class=HTMLResponse)

SECTIONS = {
    "findings": "Findings",
    "loads": "Axle loads",
    "downforce": "Downforce over speed",
    "heights": "Ride heights",
    "stands": "Stand tests",
    "passes": "Passes",
    "each-pass": "Each pass on its own",
    "changes": "Changes between setups",
    "budget": "What the interval is made of",
    "innovations": "Innovations",
    "intervals": "The interval method beside it",
    "study": "Days like this one",
    "inputs": "Inputs, defaults, version",
    "files": "Files",
}


@dataclass(frozen=True, slots=True)
class DayHead:
    """The day itself, as its result's page names it. again: the event of its newest fit as then, 0 for none."""

    id: int
    name: str
    date: str
    sent_as: str
    added: str
    result_id: int
    result_sha256: str
    again: int
    files: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class ResultPage(Page):
    """A day's result; `section` is the one part that is shown, or empty for the whole.

    sections: those that this day has, and the one that is shown; figures: by their plain names.
    """

    template: ClassVar[str] = "results/day.html"
    help: ClassVar[str] = "result"
    live: ClassVar[bool] = True
    day: DayHead
    view: ResultView
    section: str
    sections: dict[str, str]
    figures: dict[str, Figure]
    wanted: float
    moved: MovedView | None
    study: StudyPart


@dataclass(frozen=True, kw_only=True)
class OldResultPage(Page):
    """A result by its number, as it was kept: its estimates, passes, inputs and files."""

    template: ClassVar[str] = "results/superseded.html"
    help: ClassVar[str] = "result"
    day: DayHead
    view: ResultView
    superseded: bool
    made_at: str
    revision: int


@dataclass(frozen=True, kw_only=True)
class TablePage(Page):
    """The numbers behind a figure; csv: the address of the same as CSV."""

    template: ClassVar[str] = "results/table.html"
    help: ClassVar[str] = "result"
    table: Table
    csv: str


@dataclass(frozen=True, slots=True)
class LoadedResult:
    """A day and its newest result."""

    day: StoredDay
    head: DayHead
    result: DayResult
    moved: MovedView | None
    study: StudyPart


def _loaded(day_id: int, archive: TheArchive, results: Results) -> LoadedResult:
    with archive.database.reading() as session:
        day = find_day(session, day_id)
        row, result = results.of_day(session, day_id)
        study = study_part(newest_study(archive, session, day_id), study_on_its_way(session, day_id), row.id)
        return LoadedResult(day, _head(session, day, row), result, moved_view(session, day_id), study)


def _head(session: Session, day: StoredDay, row: FittedResult) -> DayHead:
    return DayHead(
        day.id,
        day.name,
        day.date.isoformat() if day.date else "no date",
        day.sent_as,
        day.added_at.strftime("%Y-%m-%d %H:%M UTC"),
        row.id,
        row.sha256,
        again.id if (again := newest_again(session, day.id, row.id)) else 0,
        tuple(revision_files(session, row.revision_id).items()),
    )


Loaded = Annotated[LoadedResult, Depends(_loaded)]
Wanted = Annotated[float, Query(gt=0, le=10)]
Show = Annotated[str, Query(max_length=80)]


@router.get("/days/{day_id}/result", name="result")
def whole(request: Request, loaded: Loaded, wanted: Wanted = WANTED_U95_M2) -> HTMLResponse:
    """The whole result."""
    return render(request, _page(request, loaded, "", wanted, ""))


@router.get("/days/{day_id}/results/{result_id}", name="old_result")
def old_result(
    request: Request,
    day_id: int,
    result_id: Annotated[int, Path(ge=1, le=2**31)],
    archive: TheArchive,
    results: Results,
) -> HTMLResponse:
    """A result by its number, superseded or not."""
    with archive.database.reading() as session:
        day, row = find_day(session, day_id), find_result(session, day_id, result_id)
        head, newest = _head(session, day, row), latest_result(session, day_id)
        revision, made_at = session.get_one(DayRevision, row.revision_id).number, row.made_at
        superseded = newest is not None and newest.id != row.id
        view = result_view(results.read(row.sha256), WANTED_U95_M2)
    here = Crumb(head.name, str(request.app.url_path_for("result", day_id=str(day_id))))
    page = OldResultPage(
        title=f"Result {result_id}", crumbs=(*_crumbs(request), here), day=head, view=view, superseded=superseded,
        made_at=made_at.strftime("%Y-%m-%d %H:%M UTC"), revision=revision,
    )  # fmt: skip
    return render(request, page)


@router.get("/days/{day_id}/figures/{name}.json", name="figure")
def figure(name: str, loaded: Loaded, narrow: bool = False) -> Response:
    """A figure for the page's plot module."""
    from server.figures.catalogue import figure_json

    _known_plot(name, loaded.result)
    return Response(figure_json(name, loaded.result, narrow), media_type="application/json")


@router.get("/days/{day_id}/figures/{name}.csv", name="figure_csv")
def figure_csv(name: str, loaded: Loaded) -> Response:
    """A figure's numbers as CSV."""
    return csv_answer(_table(name, loaded.result), f"day-{loaded.head.id}-{name}")


@router.get("/days/{day_id}/figures/{name}/table", name="figure_table")
def figure_table(request: Request, name: str, loaded: Loaded) -> HTMLResponse:
    """A figure's numbers as a table, on a page or as a piece of one."""
    table = _table(name, loaded.result)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    crumbs = (*_crumbs(request), Crumb(loaded.head.name, _day_path(request, loaded)))
    csv = str(request.app.url_path_for("figure_csv", day_id=str(loaded.head.id), name=name))
    return render(request, TablePage(title=figure_words(name), crumbs=crumbs, table=table, csv=csv))


@router.get("/days/{day_id}/result/{section}", name="result_section")
def one_section(
    request: Request, section: str, loaded: Loaded, wanted: Wanted = WANTED_U95_M2, show: Show = ""
) -> HTMLResponse:
    """One part of the result under its own address; show: a figure of it, named with its choice."""
    if section not in SECTIONS:
        raise NotFoundError(f"A result has no part called {section[:40]}.")
    return render(request, _page(request, loaded, section, wanted, show))


def csv_answer(table: Table, name: str) -> Response:
    """A table as a CSV file of that name."""
    headers = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return Response(table.to_csv(), media_type="text/csv; charset=utf-8", headers=headers)


def _page(request: Request, loaded: LoadedResult, section: str, wanted: float, show: str) -> ResultPage:
    crumbs, result = _crumbs(request), loaded.result
    if section:
        crumbs = (*crumbs, Crumb(loaded.head.name, _day_path(request, loaded)))
    if show:
        _known_plot(show, result)
    figures = page_figures(result, show)
    return ResultPage(
        title=SECTIONS.get(section, loaded.head.name),
        crumbs=crumbs,
        day=loaded.head,
        view=result_view(result, wanted, budget_of(result, show)),
        section=section,
        sections={k: words for k, words in SECTIONS.items() if k == section or has_section(k, result, figures)},
        figures=figures,
        wanted=wanted,
        moved=None if section else loaded.moved,
        study=loaded.study,
    )


def _crumbs(request: Request) -> tuple[Crumb, ...]:
    return (Crumb("Season", str(request.app.url_path_for("days"))),)


def _day_path(request: Request, loaded: LoadedResult) -> str:
    return str(request.app.url_path_for("result", day_id=str(loaded.head.id)))


def _known_plot(name: str, result: DayResult) -> Plot:
    from server.figures.catalogue import find_plot

    plot = find_plot(name, result)
    if plot is None:
        raise NotFoundError(f"This result has no figure called {name[:40]}.")
    return plot


def _table(name: str, result: DayResult) -> Table:
    return _known_plot(name, result).table(result)
