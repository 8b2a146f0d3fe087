"""The figures of a correlation: as drawings, as CSV, as tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from server.analysis.correlation_words import VERDICT_WORDS
from server.archive.archive import Archive
from server.correlation.choosing import link
from server.correlation.pages import Loaded, Of
from server.correlation.taps_pages import TapChoice, taps_of
from server.correlation.view import across_of, case_points, marks_of, trend_points
from server.dependencies import TheArchive
from server.errors import NotFoundError
from server.figures.table import Table
from server.figures.theme import drawing
from server.results.pages import TablePage
from server.templating import Crumb, is_htmx, render, render_part

if TYPE_CHECKING:
    from plotly import graph_objects as go

router = APIRouter(prefix="/correlation/figures", default_response_class=HTMLResponse)
NO_FIGURE = "This correlation has no figure called {name}."


@dataclass(frozen=True, slots=True)
class Drawing:
    """A figure and its table, each made when it is asked for."""

    draw: Callable[[bool], go.Figure]
    table: Callable[[], Table]


def _made(name: str, of: Of, archive: TheArchive, tap: Annotated[TapChoice, Depends()]) -> Drawing:
    """The figure of that name. Raises NotFoundError where there is none."""
    made = _of_taps(of, archive, tap) if name == "taps" else _FIGURES[name](of) if name in _FIGURES else None
    if made is None:
        raise NotFoundError(NO_FIGURE.format(name=name[:40]))
    return made


Made = Annotated[Drawing, Depends(_made)]


@router.get("/{name}.json", name="correlation_figure")
def figure(made: Made, *, narrow: bool = False) -> Response:
    """A figure for the page's plot module."""
    return Response(drawing(made.draw(narrow)), media_type="application/json")


@router.get("/{name}.csv", name="correlation_csv")
def figure_csv(name: str, made: Made) -> Response:
    """A figure's numbers as CSV."""
    head = {"Content-Disposition": f'attachment; filename="correlation-{name}.csv"'}
    return Response(made.table().to_csv(), media_type="text/csv; charset=utf-8", headers=head)


@router.get("/{name}/table", name="correlation_table")
def figure_table(request: Request, name: str, of: Of, made: Made) -> HTMLResponse:
    """A figure's numbers as a table, on a page or as a piece of one."""
    table = made.table()
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    there = request.app.url_path_for
    csv = f"{there('correlation_csv', name=name)}?{request.url.query}"
    crumbs = (Crumb("Correlation", link(str(there("correlation")), of.query())),)
    return render(request, TablePage(title="Measured beside predicted", crumbs=crumbs, table=table, csv=csv))


def _totals(of: Loaded) -> Drawing | None:
    from server.figures.correlation import beside, beside_table

    held = [one for _, one in of.car.totals if one.quantity == of.quantity]
    return Drawing(
        lambda narrow: beside(held, marks_of(of.car), VERDICT_WORDS, narrow),
        lambda: beside_table([one for _, one in of.car.totals], VERDICT_WORDS),
    ) if held else None  # fmt: skip


def _changes(of: Loaded) -> Drawing | None:
    from server.figures.correlation import beside, beside_table

    held = [one for _, one in of.car.changes if one.quantity == of.quantity]
    return Drawing(
        lambda narrow: beside(held, marks_of(of.car), VERDICT_WORDS, narrow),
        lambda: beside_table([one for _, one in of.car.changes], VERDICT_WORDS),
    ) if held else None  # fmt: skip


def _together(of: Loaded) -> Drawing | None:
    from server.figures.correlation_unity import unity, unity_table

    found = across_of(of.car, of.quantity) if of.quantity else None
    if found is None:
        return None
    return Drawing(lambda narrow: unity(found, marks_of(of.car), narrow), lambda: unity_table(found))


def _heights(of: Loaded, axle: str) -> Drawing | None:
    from server.figures.correlation_over_heights import over_heights, over_heights_table

    cases = case_points(of.car, of.setup, axle)
    visited = [one for day in of.car.days for one in day.visited.get(of.setup, ()) if one.axle == axle]
    if not cases or not visited:
        return None
    mark = marks_of(of.car)[of.setup]
    return Drawing(
        lambda narrow: over_heights(visited, cases, mark, narrow), lambda: over_heights_table(visited, cases)
    )


def _trend(of: Loaded) -> Drawing | None:
    from server.figures.correlation_trend import trend, trend_table

    points = trend_points(of.car, of.quantity)
    if not points:
        return None
    margin = of.car.margins.total
    return Drawing(lambda narrow: trend(points, marks_of(of.car), margin, narrow), lambda: trend_table(points))


def _of_taps(of: Loaded, archive: Archive, tap: TapChoice) -> Drawing | None:
    from server.figures.correlation import beside, beside_table

    shown = taps_of(archive, of, tap)
    mark = marks_of(of.car).get(shown.setup)
    if not shown.found or mark is None:
        return None
    marks = {one.setup: mark for one in shown.found}
    return Drawing(
        lambda narrow: beside(shown.found, marks, VERDICT_WORDS, narrow),
        lambda: beside_table(shown.found, VERDICT_WORDS),
    )


_FIGURES: dict[str, Callable[[Loaded], Drawing | None]] = {
    "totals": _totals,
    "changes": _changes,
    "together": _together,
    "heights-front": lambda of: _heights(of, "front"),
    "heights-rear": lambda of: _heights(of, "rear"),
    "trend": _trend,
}
