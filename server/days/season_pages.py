"""The first page: what has been tested, what stands, what is open; its figure and the numbers behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response

from server.archive.jobs import open_jobs
from server.correlation.open_doubts import Doubt, open_doubts
from server.days.job_view import JobView, job_view
from server.days.release import Release, setup_code, standing_releases
from server.days.season import SeasonDay
from server.days.season_choice import Choice, Season, cars_of, choose, link, scope_words, years_of
from server.days.season_view import CarStands, Letters, car_stands, measured_quantities, timeline_points
from server.days.season_words import NextAction, next_action, season_sentence
from server.dependencies import TheArchive
from server.errors import NotFoundError
from server.figures.names import OF, named
from server.figures.season_points import ON_SCREEN
from server.figures.table import Table
from server.locations import sample_day_folders
from server.results.season_days import season_days
from server.templating import Crumb, Page, is_htmx, render, render_part

router = APIRouter(default_response_class=HTMLResponse)

TIMELINE = "timeline"
OPENED = 3  # days whose findings stand unfolded
FIGURE_WORDS = (
    "Every day at its date, every setup with its letter: {words} with its 95 % interval, thick at one u. "
    "A number behind a letter: the same name with other parts."
)


@dataclass(frozen=True, slots=True)
class Plotted:
    """The page's figure: the addresses of its JSON, table and CSV, and what else it can be drawn of."""

    name: str
    words: str
    json: str
    table: str
    csv: str
    file: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, kw_only=True)
class SeasonPage(Page):
    """What has been tested and what stands. asking, unfitted: days of it; query: the same choice for another address;
    doubts: verdicts that somebody doubts; releases: setups that may be raced, by code; gone: those of them that no
    setup is any more; jobs: work on its way."""

    template: ClassVar[str] = "days/season.html"
    help: ClassVar[str] = "season"
    live: ClassVar[bool] = True
    any_days: bool
    days: tuple[SeasonDay, ...]
    sentence: str
    action: NextAction | None
    years: tuple[Choice, ...]
    cars: tuple[Choice, ...]
    plotted: Plotted | None
    stands: tuple[CarStands, ...]
    asking: tuple[SeasonDay, ...]
    opened: int
    unfitted: tuple[SeasonDay, ...]
    doubts: tuple[Doubt, ...]
    releases: dict[str, Release]
    gone: tuple[Release, ...]
    letters: Letters
    query: str
    jobs: tuple[JobView, ...]
    has_samples: bool


@dataclass(frozen=True, kw_only=True)
class SeasonTablePage(Page):
    """The numbers of the season's figure."""

    template: ClassVar[str] = "days/season_table.html"
    help: ClassVar[str] = "season"
    table: Table
    csv: str


def _season(
    archive: TheArchive,
    year: Annotated[str, Query(max_length=10)] = "",
    car: Annotated[str | None, Query(max_length=200)] = None,
) -> Season:
    with archive.database.reading() as session:
        every = season_days(archive, session)
    return choose(every, year, car)


InSeason = Annotated[Season, Depends(_season)]


@router.get("/", name="days")
def season(
    request: Request, archive: TheArchive, chosen: InSeason, show: Annotated[str, Query(max_length=40)] = ""
) -> HTMLResponse:
    """What has been tested, what stands."""
    with archive.database.reading() as session:
        jobs = tuple(job_view(job) for job in open_jobs(session))
        doubts = open_doubts(session, chosen.scope.car)
        releases = standing_releases(session)
    stands, there = car_stands(chosen.days, chosen.letters), str(request.app.url_path_for("days"))
    page = SeasonPage(
        title="Season" if chosen.scope.year is None else f"Season {chosen.scope.year}",
        any_days=bool(chosen.every),
        days=tuple(chosen.days),
        sentence=season_sentence(chosen.days, stands, scope_words(chosen.scope)),
        action=next_action(chosen.days),
        years=years_of(there, chosen),
        cars=cars_of(there, chosen),
        plotted=_plotted(request, chosen, show),
        stands=stands,
        asking=tuple(one for one in chosen.days if one.asking),
        opened=OPENED,
        unfitted=tuple(one for one in chosen.days if one.no_result),
        doubts=doubts,
        releases=releases,
        gone=_gone(releases, chosen.every),
        letters=chosen.letters,
        query=chosen.scope.query,
        jobs=jobs,
        has_samples=bool(sample_day_folders()),
    )
    return render(request, page)


def _gone(releases: dict[str, Release], every: Sequence[SeasonDay]) -> tuple[Release, ...]:
    """Releases of setups that are recorded otherwise now, by a corrected height or part."""
    there = {setup_code(key) for key in {one.key for day in every for one in day.measured}} if releases else set()
    return tuple(one for code, one in releases.items() if code not in there)


def _plotted(request: Request, chosen: Season, show: str) -> Plotted | None:
    quantities = measured_quantities(chosen.days)
    if not quantities:
        return None
    shown = show if show in quantities else quantities[0]
    name = _figure_name(shown)
    there = {
        kind: f"{request.app.url_path_for(route, name=name)}{chosen.scope.query}"
        for kind, route in (("json", "season_figure"), ("table", "season_table"), ("csv", "season_csv"))
    }
    here = str(request.app.url_path_for("days"))
    choices = tuple(
        Choice(ON_SCREEN[each].words, link(here, chosen, show=each), f"show-{each}", each == shown)
        for each in quantities
    )
    words = FIGURE_WORDS.format(words=ON_SCREEN[shown].words)
    return Plotted(name, words, **there, file=f"season-{name}", choices=choices if len(choices) > 1 else ())


def _figure_name(quantity: str) -> str:
    return TIMELINE if quantity == next(iter(ON_SCREEN)) else named(TIMELINE, quantity)


def _quantity(name: str) -> str:
    """The quantity that a figure's name holds. Raises NotFoundError."""
    plain, _, quantity = name.partition(OF)
    quantity = quantity or next(iter(ON_SCREEN))
    if plain != TIMELINE or quantity not in ON_SCREEN:
        raise NotFoundError(f"The season has no figure called {name[:40]}.")
    return quantity


@router.get("/season/figures/{name}.json", name="season_figure")
def figure(name: str, chosen: InSeason, *, narrow: bool = False) -> Response:
    """The timeline for the page's plot module."""
    from server.figures.season import season_json

    quantity = _quantity(name)
    points = timeline_points(chosen.days, quantity, chosen.letters)
    return Response(season_json(points, quantity, narrow), media_type="application/json")


@router.get("/season/figures/{name}.csv", name="season_csv")
def figure_csv(name: str, chosen: InSeason) -> Response:
    """The timeline's numbers as CSV."""
    disposition = f'attachment; filename="season-{TIMELINE}-{_quantity(name)}.csv"'
    content = _table(name, chosen).to_csv()
    return Response(content, media_type="text/csv; charset=utf-8", headers={"Content-Disposition": disposition})


@router.get("/season/figures/{name}/table", name="season_table")
def figure_table(request: Request, name: str, chosen: InSeason) -> HTMLResponse:
    """The timeline's numbers as a table, on a page or as a piece of one."""
    table = _table(name, chosen)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    csv = f"{request.app.url_path_for('season_csv', name=name)}{chosen.scope.query}"
    title = f"Season: {ON_SCREEN[_quantity(name)].words} of every setup on every day"
    crumbs = (Crumb("Season", link(str(request.app.url_path_for("days")), chosen)),)
    return render(request, SeasonTablePage(title=title, crumbs=crumbs, table=table, csv=csv))


def _table(name: str, chosen: Season) -> Table:
    from server.figures.season import season_table

    quantity = _quantity(name)
    return season_table(timeline_points(chosen.days, quantity, chosen.letters), quantity)
