"""Setups of a day against one of them, judged together, and over a setting that was varied."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, ClassVar
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response

from server.analysis.compared import LEAST_SETTINGS, Compared, Varied, quantities_compared, varied_settings
from server.analysis.result import DayResult
from server.days.revisions import stored_day
from server.days.service import find_day, revision_files
from server.dependencies import Results, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.quantity import quantity_of
from server.figures.table import Table
from server.figures.theme import SetupMark, drawing, setup_marks
from server.results.compare_view import DifferenceRow, compared_sentence, difference_rows, varied_sentence
from server.results.pages import TablePage
from server.templating import Crumb, Page, is_htmx, render, render_part
from server.testday.values import Day

router = APIRouter(prefix="/days/{day_id}/compare", default_response_class=HTMLResponse)
Asked = Annotated[str, Query(max_length=120)]
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
    query: str


@dataclass(frozen=True, slots=True)
class Loaded:
    """A day's newest result and the day it was made of; what is compared, and over which setting."""

    day_id: int
    day: Day
    result: DayResult
    marks: dict[str, SetupMark]
    quantity: str
    baseline: str
    over: str

    def compared(self) -> Compared:
        """All differences. Raises StillairError where there are none."""
        from server.analysis.compare import compare

        return compare(self.result, self.quantity, self.baseline)

    @property
    def settings(self) -> dict[str, dict[str, float]]:
        """Settings that can be looked over."""
        joint = self.result.joint.get(self.quantity)
        parts = {setup.name: setup.parts for setup in self.day.setups}
        return varied_settings(parts, joint.setups) if joint else {}

    @property
    def varied_enough(self) -> tuple[str, ...]:
        """Those with enough different values for a curve."""
        return tuple(name for name, at in self.settings.items() if len(set(at.values())) >= LEAST_SETTINGS)

    def varied(self) -> Varied | None:
        """The quantity over the chosen setting; None where none was varied enough."""
        if self.over not in self.varied_enough:
            return None
        from server.analysis.compare import response_over

        return response_over(self.result, self.quantity, self.over, self.settings[self.over])

    def query(self, **other: str) -> str:
        """The address's choices, some of them others."""
        return urlencode({"quantity": self.quantity, "baseline": self.baseline, "over": self.over} | other)


@dataclass(frozen=True, slots=True)
class Choice:
    """What the address asks for; whatever the day does not have gives way to its first."""

    quantity: Asked = ""
    baseline: Asked = ""
    over: Asked = ""


def _loaded(day_id: int, archive: TheArchive, results: Results, asked: Annotated[Choice, Depends()]) -> Loaded:
    with archive.database.reading() as session:
        find_day(session, day_id)
        row, result = results.of_day(session, day_id)
        day = stored_day(archive, revision_files(session, row.revision_id))
    told = quantities_compared(result)
    quantity = asked.quantity if asked.quantity in told else told[0] if told else ""
    names = result.joint[quantity].setups if quantity else ()
    baseline = asked.baseline if asked.baseline in names else next(iter(_stated(result, names)), "")
    marks = setup_marks([one.name for one in result.setups])
    loaded = Loaded(day_id, day, result, marks, quantity, baseline, asked.over)
    enough = loaded.varied_enough
    return replace(loaded, over=asked.over if asked.over in enough else next(iter(enough), ""))


def _stated(result: DayResult, names: tuple[str, ...]) -> list[str]:
    """The baseline that most setups name, first."""
    named = [one.baseline for one in result.comparisons if one.baseline in names]
    return [*sorted(set(named), key=lambda name: -named.count(name)), *names]


Of = Annotated[Loaded, Depends(_loaded)]


@router.get("", name="compare")
def compare_page(request: Request, of: Of) -> HTMLResponse:
    """All setups against one."""
    there = request.app.url_path_for
    here = str(there("compare", day_id=str(of.day_id)))
    crumbs = (Crumb("Season", str(there("days"))), Crumb(of.day.name, str(there("day", day_id=str(of.day_id)))))
    compared = of.compared() if of.quantity and of.baseline else None
    varied = of.varied() if compared else None

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
        settings=tuple(option(name, name == of.over, over=name) for name in of.varied_enough),
        varied=varied_sentence(varied) if varied else "",
        query=of.query(),
    )
    return render(request, page)


@router.get("/{name}.json", name="compare_figure")
def figure(name: str, of: Of, narrow: bool = False) -> Response:
    """A figure for the page's plot module."""
    from server.figures.judged import judged, varied_figure

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
