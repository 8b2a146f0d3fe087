"""Setups of a day against one of them, judged together, and over a setting that was varied."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from server.analysis.compared import Varied, quantities_compared
from server.errors import NotFoundError, StillairError
from server.figures.quantity import quantity_of
from server.figures.table import Table
from server.figures.theme import drawing
from server.results.compare_choice_pages import Loaded, Of
from server.results.compare_view import (
    DifferenceRow,
    compared_sentence,
    difference_rows,
    surface_sentence,
    varied_sentence,
)
from server.results.pages import TablePage
from server.templating import Crumb, Page, is_htmx, render, render_part
from server.testday.setting_names import spoken

router = APIRouter(prefix="/days/{day_id}/compare", default_response_class=HTMLResponse)
ALONE = "Only one setup of this day has a drag area: nothing can be held against it yet."
OLD = "This result was kept before setups were told together; fit the day again, then compare."


@dataclass(frozen=True, slots=True)
class Option:
    """Something that the page can be drawn of: its words, its address, whether it is shown."""

    words: str
    href: str
    shown: bool


@dataclass(frozen=True, kw_only=True)
class ComparePage(Page):
    """Setups of a day against a baseline; sentence: the answer, or why there is none.

    query: what the figures' addresses end in.
    """

    template: ClassVar[str] = "results/compare.html"
    help: ClassVar[str] = "compare"
    live: ClassVar[bool] = True
    day_id: int
    sentence: str
    baseline: str
    symbol: str
    factor: str
    rows: tuple[DifferenceRow, ...]
    baselines: tuple[Option, ...]
    quantities: tuple[Option, ...]
    settings: tuple[Option, ...]
    varied: str
    pairs: tuple[Option, ...]
    surface: str
    query: str


@router.get("", name="compare")
def compare_page(request: Request, of: Of) -> HTMLResponse:
    """All setups against one."""
    there = request.app.url_path_for
    here = str(there("compare", day_id=str(of.day_id)))
    crumbs = (Crumb("Season", str(there("days"))), Crumb(of.day.name, str(there("day", day_id=str(of.day_id)))))
    compared = of.compared() if of.quantity and of.baseline else None
    varied, surface = (of.varied(), of.surface()) if compared else (None, None)

    def option(words: str, shown: bool, **other: str) -> Option:
        return Option(words, f"{here}?{of.query(**other)}", shown)

    page = ComparePage(
        title="Compare setups",
        crumbs=crumbs,
        day_id=of.day_id,
        sentence=compared_sentence(compared) if compared else ALONE if of.result.joint else OLD,
        baseline=of.baseline,
        symbol=quantity_of(of.quantity).symbol,
        factor=f"{compared.factor:.2f}" if compared else "",
        rows=difference_rows(compared, of.marks, of.day) if compared else (),
        baselines=tuple(
            option(name, name == of.baseline, baseline=name)
            for name in (of.result.joint[of.quantity].setups if of.quantity else ())
        ),
        quantities=tuple(
            option(quantity_of(name).symbol, name == of.quantity, quantity=name)
            for name in quantities_compared(of.result)
        ),
        settings=tuple(option(spoken(name), name == of.over, over=name) for name in of.varied_enough),
        varied=varied_sentence(varied) if varied else "",
        pairs=tuple(
            option(" and ".join(map(spoken, pair)), key == of.both, both=key) for key, pair in of.pairs.items()
        ),
        surface=surface_sentence(surface) if surface else "",
        query=of.query(),
    )
    return render(request, page)


@router.get("/{name}.json", name="compare_figure")
def figure(name: str, of: Of, narrow: bool = False) -> Response:
    """A figure for the page's plot module."""
    from server.figures.judged import judged, varied_figure
    from server.figures.surfaces import surface_figure

    if name == "surface" and (surface := of.surface()):
        return Response(drawing(surface_figure(surface, of.marks, narrow)), media_type="application/json")
    if name == "differences" and of.baseline:
        return Response(drawing(judged(of.compared(), of.marks, narrow)), media_type="application/json")
    return Response(drawing(varied_figure(_varied(name, of), of.marks, narrow)), media_type="application/json")


@router.get("/{name}.csv", name="compare_csv")
def figure_csv(name: str, of: Of) -> Response:
    """A figure's numbers as CSV."""
    return Response(_table(name, of).to_csv(), media_type="text/csv; charset=utf-8")


@router.get("/{name}/table", name="compare_table")
def figure_table(request: Request, name: str, of: Of) -> HTMLResponse:
    """A figure's numbers as a table, on a page or as a piece of one."""
    table = _table(name, of)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    there = request.app.url_path_for
    csv = f"{there('compare_csv', day_id=str(of.day_id), name=name)}?{of.query()}"
    crumbs = (Crumb(of.day.name, str(there("compare", day_id=str(of.day_id)))),)
    return render(request, TablePage(title="Compared setups", crumbs=crumbs, table=table, csv=csv))


def _table(name: str, of: Loaded) -> Table:
    from server.figures.judged import judged_table, varied_table
    from server.figures.surfaces import surface_table

    if name == "surface" and (surface := of.surface()):
        return surface_table(surface)
    if name == "differences" and of.baseline:
        return judged_table(of.compared())
    return varied_table(_varied(name, of))


def _varied(name: str, of: Loaded) -> Varied:
    try:
        varied = of.varied() if name == "over" else None
    except StillairError as refusal:
        raise NotFoundError(str(refusal)) from None
    if varied is None:
        raise NotFoundError(f"This comparison has no figure called {name[:40]}.")
    return varied
