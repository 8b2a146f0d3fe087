"""Does CFD hold: a car's verdicts, its setups together, by part, over days; margins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from server.analysis.correlated import Margins
from server.analysis.correlation_across_words import across_sentences
from server.analysis.correlation_parts import PartShare, part_shares, part_tests
from server.analysis.correlation_parts_words import part_sentence
from server.analysis.correlation_words import WRITTEN
from server.correlation.choosing import Choice, Option, car_options, day_options, link, set_options
from server.correlation.margins import keep_margins
from server.correlation.notes import notes_of
from server.correlation.service import CarCorrelation, check_car, correlate_car
from server.correlation.tables import DecisionNote
from server.correlation.view import (
    NoteView,
    VerdictRow,
    about_words,
    across_of,
    car_sentences,
    case_points,
    marks_of,
    note_views,
    place_of,
    quantities_told,
    stands_on,
    trend_points,
    verdict_rows,
    worst_undecided,
)
from server.dependencies import CurrentPerson, Results, TheArchive
from server.errors import StillairError
from server.figures.theme import SetupMark
from server.templating import Crumb, Page, render
from server.tufts.beside import ToldTufts, told_tufts

router = APIRouter(prefix="/correlation", default_response_class=HTMLResponse)
SEE_OTHER = 303
PER_CENT = 100.0


@dataclass(frozen=True, slots=True)
class Loaded:
    """What the page is drawn of. quantity: the one shown; setup: whose ride heights are shown."""

    choice: Choice
    car: CarCorrelation
    notes: tuple[DecisionNote, ...]
    quantity: str
    setup: str

    def query(self, **other: str) -> dict[str, str]:
        """The choices, with the car that they led to."""
        return self.choice.query(**({"car": self.car.asked.car, "of": self.quantity, "shown": self.setup} | other))


@dataclass(frozen=True, slots=True)
class ShareRow:
    """A part of a setup: its predicted areas in words."""

    mark: SetupMark
    setup: str
    part: str
    cells: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class CorrelationPage(Page):
    """A car's verdicts. query: what the figures' addresses end in; worst: what to decide on next, and its address."""

    template: ClassVar[str] = "correlation/correlation.html"
    help: ClassVar[str] = "correlation"
    car: str
    sentence: str
    counts: str
    worst: tuple[str, str] | None
    any_cases: bool
    cars: tuple[Option, ...]
    days: tuple[Option, ...]
    sets: tuple[Option, ...]
    quantities: tuple[Option, ...]
    setups: tuple[Option, ...]
    symbol: str
    heads: tuple[str, ...]
    rows: tuple[VerdictRow, ...]
    change_heads: tuple[str, ...]
    changes: tuple[VerdictRow, ...]
    across: tuple[str, ...]
    together: bool
    heights: tuple[str, ...]
    tests: tuple[str, ...]
    shares: tuple[ShareRow, ...]
    tufts: tuple[ToldTufts, ...]
    trend: bool
    notes: tuple[NoteView, ...]
    stands: tuple[str, ...]
    margins: Margins
    query: str


def loaded(archive: TheArchive, results: Results, choice: Annotated[Choice, Depends()]) -> Loaded:
    """What an address asks for; whatever the car does not have gives way to its first."""
    with archive.database.reading() as session:
        found = correlate_car(archive, session, results, choice.asked)
        notes = tuple(notes_of(session, found.asked.car))
    told = quantities_told(found.totals)
    quantity = choice.of if choice.of in told else told[0] if told else ""
    visited = [name for name in found.setups if _axles(found, name)]
    shown = choice.shown if choice.shown in visited else visited[0] if visited else ""
    return Loaded(choice, found, notes, quantity, shown)


Of = Annotated[Loaded, Depends(loaded)]


@router.get("", name="correlation")
def correlation(request: Request, of: Of, archive: TheArchive) -> HTMLResponse:
    """A car's measurements beside its predictions."""
    with archive.database.reading() as session:
        tufts = told_tufts(session, ((day.day_id, day.values) for day in of.car.days))
    there = str(request.app.url_path_for("correlation"))
    verdict = str(request.app.url_path_for("verdict"))
    car, marks = of.car, marks_of(of.car)
    kept = of.choice.query(car=car.asked.car, of="", shown="")
    across = across_of(car, of.quantity) if of.quantity else None
    cases = [one.case for one in car.cases]
    setups = {one.name: one for day in reversed(car.days) for one in day.values.setups}
    tests = part_tests([one for _, one in car.changes], cases, setups)
    worst = worst_undecided(car, of.notes)
    sentence, counts = car_sentences(car)
    page = CorrelationPage(
        title="Correlation",
        crumbs=(Crumb("Season", str(request.app.url_path_for("days"))),),
        car=car.asked.car,
        sentence=sentence,
        counts=counts,
        worst=_worst(worst[1], link(verdict, kept | place_of(worst[1]))) if worst else None,
        any_cases=bool(car.cases),
        cars=car_options(there, car) if len(car.cars) > 1 else (),
        days=day_options(there, of.choice, car),
        sets=set_options(there, of.choice, car),
        quantities=tuple(
            Option(WRITTEN[name].symbol, link(there, of.query(of=name)), name == of.quantity)
            for name in quantities_told(car.totals)
        ),
        setups=tuple(
            Option(name, f"{link(there, of.query(shown=name))}#heights", name == of.setup)
            for name in car.setups
            if _axles(car, name)
        ),
        symbol=WRITTEN[of.quantity].symbol if of.quantity else "",
        heads=tuple(WRITTEN[name].symbol for name in quantities_told(car.totals)),
        rows=verdict_rows(car.totals, marks, of.notes, verdict, kept),
        change_heads=tuple(WRITTEN[name].symbol for name in quantities_told(car.changes)),
        changes=verdict_rows(car.changes, marks, of.notes, verdict, kept),
        across=across_sentences(across) if across else (),
        together=across is not None,
        heights=tuple(_axles(car, of.setup)),
        tests=tuple(part_sentence(one) for one in tests),
        shares=tuple(_share(one, marks) for one in part_shares(cases) if one.setup in marks),
        tufts=tufts,
        trend=len({(point.day, point.day_name) for point in trend_points(car, of.quantity)}) > 1,
        notes=note_views(of.notes, car, verdict, kept),
        stands=stands_on(car),
        margins=car.margins,
        query=link("", of.query()),
    )
    return render(request, page)


def _worst(one, href: str) -> tuple[str, str]:  # type: ignore[no-untyped-def]
    return f"Decide on {about_words(one.setup, one.quantity, one.against)}", href


def _axles(car: CarCorrelation, setup: str) -> list[str]:
    """Axles of a setup that have both: ride heights that were visited, and cases over that height."""
    visited = {one.axle for day in car.days for one in day.visited.get(setup, ()) if one.ride_height is not None}
    return [axle for axle in ("front", "rear") if axle in visited and case_points(car, setup, axle)]


def _share(one: PartShare, marks: dict[str, SetupMark]) -> ShareRow:
    cells = [
        f"{one.areas[area]:.3f} m², {PER_CENT * one.share[area]:.0f} %" if area in one.share else "not predicted"
        for area in ("SCx", "SCz_front", "SCz_rear")
    ]
    return ShareRow(marks[one.setup], one.setup, one.part, tuple(cells))


class MarginsForm(BaseModel):
    """By how much a car's predictions may be off, as typed: per cent, and a correlation."""

    car: str = Field("", max_length=200)
    total: str = Field("", max_length=20)
    change: str = Field("", max_length=20)
    together: str = Field("", max_length=20)
    reason: str = Field("", max_length=1000)


@router.post("/margins", name="correlation_margins")
def margins(
    request: Request, archive: TheArchive, who: CurrentPerson, form: Annotated[MarginsForm, Form()]
) -> Response:
    """Keep by how much a car's predictions may be off."""
    given = Margins(
        _number(form.total, "The margin of totals") / PER_CENT,
        _number(form.change, "The margin of changes") / PER_CENT,
        _number(form.together, "The correlation of numerical errors"),
    )
    with archive.database.reading() as session:
        check_car(archive, session, form.car)
    with archive.database.writing() as session:
        keep_margins(session, form.car, given, who=who, reason=form.reason.strip())
    there = link(str(request.app.url_path_for("correlation")), {"car": form.car})
    return RedirectResponse(f"{there}#margins", SEE_OTHER)


def _number(text: str, what: str) -> float:
    try:
        return float(text.strip().removesuffix("%").strip().replace(",", "."))
    except ValueError:
        raise StillairError(f"{what} is no number: {text[:20]!r}.") from None
