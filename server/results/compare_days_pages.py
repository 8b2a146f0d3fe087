"""Setups of a car against one of them over the days of a season."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response

from server.analysis.compared_days import ComparedDays, ResultOfDay
from server.days.season_choice import Choice as Link
from server.days.season_choice import Season, cars_of, years_of
from server.days.season_pages import InSeason
from server.dependencies import Results, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.quantity import in_order, quantity_of
from server.figures.table import Table
from server.figures.theme import drawing
from server.results.compare_days_choice import (
    Choice,
    Chosen,
    DayChoice,
    SetupOverDays,
    car_of,
    choose_compared,
    chosen_results,
)
from server.results.compare_days_view import (
    OverDaysRow,
    agreement_sentence,
    between_sentence,
    over_days_rows,
    over_days_sentence,
)
from server.results.next_step import WANTED_U95_M2
from server.results.pages import TablePage
from server.templating import Crumb, Page, is_htmx, render, render_part

Asked = Annotated[str, Query(max_length=120)]
Many = Annotated[list[str] | None, Query(max_length=60)]
router = APIRouter(prefix="/season/compare", default_response_class=HTMLResponse)
NOTHING = "No day of this season has measured anything yet; add a day and fit it, then compare."
FIGURE = "differences"


@dataclass(frozen=True, kw_only=True)
class CompareDaysPage(Page):
    """Setups against a baseline over days; sentence: the answer, or why there is none. query: of the figure."""

    template: ClassVar[str] = "results/compare_days.html"
    help: ClassVar[str] = "compare"
    sentence: str
    agreement: str
    between: str
    car: str
    quantity: str
    symbol: str
    baseline: str
    factor: str
    rows: tuple[OverDaysRow, ...]
    left_out: tuple[tuple[str, str], ...]
    years: tuple[Link, ...]
    cars: tuple[Link, ...]
    quantities: tuple[Link, ...]
    setups: tuple[SetupOverDays, ...]
    days: tuple[DayChoice, ...]
    kept: tuple[tuple[str, str], ...]
    query: str


@dataclass(frozen=True, slots=True)
class Loaded:
    """The season, what is compared of it, and the days' results; chosen None: nothing was measured."""

    season: Season
    chosen: Chosen | None
    days: tuple[ResultOfDay, ...]

    def compared(self) -> ComparedDays:
        """All differences. Raises StillairError where there are none."""
        from server.analysis.compare_days import compare_days

        if self.chosen is None:
            raise StillairError(NOTHING)
        return compare_days(self.days, self.chosen.quantity, self.chosen.baseline, WANTED_U95_M2)


def _asked(
    quantity: Asked = "", baseline: Asked = "", setup: Many = None, day: Many = None
) -> Choice:
    return Choice(quantity, baseline, setup or (), day or ())


def _loaded(
    season: InSeason, archive: TheArchive, results: Results, asked: Annotated[Choice, Depends(_asked)]
) -> Loaded:
    car = car_of(season)
    if car is None:
        return Loaded(season, None, ())
    chosen = choose_compared(season, car, asked)
    wanted = {one.id for one in chosen.days if one.chosen}
    with archive.database.reading() as session:
        read = [
            (day, ResultOfDay(day.id, f"{day.date}, {day.name}", results.of_day(session, day.id)[1], {}))
            for day in sorted(season.days, key=lambda one: (one.day, one.id))
            if day.id in wanted
        ]
    return Loaded(season, chosen, tuple(chosen_results(chosen, read)))


Of = Annotated[Loaded, Depends(_loaded)]


@router.get("", name="compare_days")
def compare_days_page(request: Request, of: Of) -> HTMLResponse:
    """All setups against one, over days."""
    here = str(request.app.url_path_for("compare_days"))
    chosen, compared, sentence = of.chosen, None, NOTHING
    try:
        compared = of.compared()
        sentence = over_days_sentence(compared)
    except StillairError as refusal:
        sentence = str(refusal)
    told = in_order({name for day in of.days for name in day.result.joint})
    page = CompareDaysPage(
        title="Compare over days",
        crumbs=(Crumb("Season", str(request.app.url_path_for("days"))),),
        sentence=sentence,
        agreement=agreement_sentence(compared) if compared else "",
        between=between_sentence(compared) if compared else "",
        car=chosen.car if chosen else "",
        quantity=chosen.quantity if chosen else "",
        symbol=quantity_of(chosen.quantity).symbol if chosen else "",
        baseline=chosen.baseline if chosen else "",
        factor=f"{compared.factor:.2f}" if compared else "",
        rows=over_days_rows(compared, chosen.marks) if compared and chosen else (),
        left_out=compared.left_out if compared else (),
        years=years_of(here, of.season),
        cars=cars_of(here, of.season),
        quantities=tuple(
            Link(quantity_of(name).symbol, f"{here}?{chosen.query(quantity=name)}", name, name == chosen.quantity)
            for name in told
            if chosen
        ),
        setups=chosen.setups if chosen else (),
        days=chosen.days if chosen else (),
        kept=tuple(chosen.scope.items()) if chosen else (),
        query=chosen.query() if chosen else "",
    )
    return render(request, page)


@router.get("/{name}.json", name="compare_days_figure")
def figure(name: str, of: Of, *, narrow: bool = False) -> Response:
    """The forest for the page's plot module."""
    from server.figures.judged_days import judged_days

    compared = _compared(name, of)
    assert of.chosen is not None
    return Response(drawing(judged_days(compared, of.chosen.marks, narrow)), media_type="application/json")


@router.get("/{name}.csv", name="compare_days_csv")
def figure_csv(name: str, of: Of) -> Response:
    """The forest's numbers as CSV."""
    return Response(_table(name, of).to_csv(), media_type="text/csv; charset=utf-8")


@router.get("/{name}/table", name="compare_days_table")
def figure_table(request: Request, name: str, of: Of) -> HTMLResponse:
    """The forest's numbers as a table, on a page or as a piece of one."""
    table = _table(name, of)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    there, query = request.app.url_path_for, of.chosen.query() if of.chosen else ""
    crumbs = (Crumb("Compare over days", f"{there('compare_days')}?{query}"),)
    csv = f"{there('compare_days_csv', name=name)}?{query}"
    return render(request, TablePage(title="Compared over days", crumbs=crumbs, table=table, csv=csv))


def _table(name: str, of: Loaded) -> Table:
    from server.figures.judged_days import days_table

    return days_table(_compared(name, of))


def _compared(name: str, of: Loaded) -> ComparedDays:
    if name != FIGURE:
        raise NotFoundError(f"This comparison has no figure called {name[:40]}.")
    try:
        return of.compared()
    except StillairError as refusal:
        raise NotFoundError(str(refusal)) from None
