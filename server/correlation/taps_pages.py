"""Pressures at taps: measured beside predicted, and where a day's table comes in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.analysis.correlated import NORMAL_95, Correlated, MeasuredTap
from server.analysis.correlation_words import VERDICT_WORDS, taps_sentence
from server.archive.archive import Archive
from server.correlation.choosing import Option, Text, link
from server.correlation.pages import Loaded, Of
from server.correlation.service import DayVerdicts
from server.correlation.taps import MOST_BYTES, keep_taps, taps_of_day
from server.correlation.view import marks_of
from server.days.service import find_day
from server.dependencies import CurrentPerson, TheArchive
from server.errors import StillairError
from server.figures.theme import SetupMark
from server.predictions.service import taps_for_car
from server.templating import Crumb, Page, render

router = APIRouter(prefix="/correlation/taps", default_response_class=HTMLResponse)
SEE_OTHER = 303
PASTED = "pasted taps.csv"
NOTHING = "Bring a table: choose its file, or paste its lines."
NO_TAPS = (
    "No pressures at taps are measured and predicted here yet: bring the day's table, one tap a line, and a set of"
    " predicted taps."
)


@dataclass(frozen=True, slots=True)
class TapRow:
    """A tap and its verdict in words."""

    tap: str
    measured: str
    predicted: str
    off: str
    verdict: str
    words: str


@dataclass(frozen=True, slots=True)
class TapChoice:
    """Which day's taps, and of which setup."""

    day: Text = ""
    setup: Text = ""


@dataclass(frozen=True, slots=True)
class Taps:
    """What the page shows: the day, its measured taps, the setup, its verdicts."""

    day: DayVerdicts | None
    measured: tuple[MeasuredTap, ...]
    setup: str
    found: tuple[Correlated, ...]


@dataclass(frozen=True, kw_only=True)
class TapsPage(Page):
    """Cp at named taps. mark: of the setup, None where nothing is shown; address: that the form is sent to;
    query: what the figure's addresses end in."""

    template: ClassVar[str] = "correlation/taps.html"
    help: ClassVar[str] = "correlation"
    sentence: str
    problem: str
    pasted: str
    days: tuple[Option, ...]
    setups: tuple[Option, ...]
    mark: SetupMark | None
    setup: str
    rows: tuple[TapRow, ...]
    day_id: int | None
    address: str
    query: str
    car: str
    kept: int


def taps_of(archive: Archive, of: Loaded, choice: TapChoice) -> Taps:
    """The taps of the day that was asked for, or of the first that has any."""
    from server.analysis.correlation_taps import correlate_taps

    with archive.database.reading() as session:
        tables = {day.day_id: taps_of_day(archive, session, day.day_id) for day in of.car.days}
        predicted = [one.tap for one in taps_for_car(archive, session, of.car.asked.car)]
    days = {str(day.day_id): day for day in of.car.days}
    day = days.get(choice.day) or next((one for one in of.car.days if tables[one.day_id]), None)
    if day is None:
        return Taps(next(iter(of.car.days), None), (), "", ())
    measured = tables[day.day_id]
    names = list(dict.fromkeys(one.setup for one in measured))
    setup = choice.setup if choice.setup in names else next(iter(names), "")
    at = day.all_heights.get(setup)
    if at is None:
        return Taps(day, measured, setup, ())
    return Taps(day, measured, setup, correlate_taps(measured, predicted, setup, at, of.car.margins.total))


@router.get("", name="taps")
def taps(request: Request, of: Of, archive: TheArchive, choice: Annotated[TapChoice, Depends()]) -> HTMLResponse:
    """Cp at every tap of a setup."""
    return _page(request, of, taps_of(archive, of, choice))


@router.post("", name="take_taps")
def take(
    request: Request, of: Of, archive: TheArchive, choice: Annotated[TapChoice, Depends()], *, who: CurrentPerson,
    day_id: Annotated[int, Form(ge=1, le=2**31)], pasted: Annotated[str, Form(max_length=900_000)] = "",
    table: UploadFile | None = None,
) -> Response:  # fmt: skip
    """Keep a day's table of taps; refused, what was pasted stays in the form."""
    name = (table.filename or "") if table is not None else ""
    content = table.file.read(MOST_BYTES + 1) if table is not None and name else pasted.encode()
    with archive.database.reading() as session:
        find_day(session, day_id)
    try:
        if not content.strip():
            raise StillairError(NOTHING)
        with archive.database.writing() as session:
            keep_taps(archive, session, day_id, name or PASTED, content, who=who)
    except StillairError as refusal:
        return _page(request, of, taps_of(archive, of, choice), (pasted, str(refusal)))
    there = str(request.app.url_path_for("taps"))
    return RedirectResponse(link(there, _of_day(of, day_id)), SEE_OTHER)


def _page(request: Request, of: Loaded, shown: Taps, typed: tuple[str, str] = ("", "")) -> HTMLResponse:
    there = str(request.app.url_path_for("taps"))
    query = of.choice.query(car=of.car.asked.car, of="", shown="")
    day_id = shown.day.day_id if shown.day else None
    names = list(dict.fromkeys(one.setup for one in shown.measured))
    kept = query | ({"day": str(day_id)} if day_id else {})
    page = TapsPage(
        title="Pressures at taps",
        crumbs=(Crumb("Correlation", link(str(request.app.url_path_for("correlation")), query)),),
        sentence=taps_sentence(shown.setup, shown.found) if shown.found else NO_TAPS,
        problem=typed[1],
        pasted=typed[0],
        days=tuple(
            Option(f"{one.name}, {one.date}", link(there, _of_day(of, one.id)), one.id == day_id)
            for one in of.car.options
        ),
        setups=tuple(Option(name, link(there, kept | {"setup": name}), name == shown.setup) for name in names),
        mark=marks_of(of.car).get(shown.setup),
        setup=shown.setup,
        rows=tuple(_row(one) for one in shown.found),
        day_id=day_id,
        address=link(there, kept),
        query=link("", kept | ({"setup": shown.setup} if shown.setup else {})),
        car=of.car.asked.car,
        kept=len(shown.measured),
    )
    return render(request, page, 422 if typed[1] else 200)


def _of_day(of: Loaded, day_id: int) -> dict[str, str]:
    return {"car": of.car.asked.car, "days": str(day_id), "day": str(day_id)}


def _row(one: Correlated) -> TapRow:
    measured = f"{one.measured.value:.2f} ± {one.measured.u95:.2f}"
    predicted, off = "extrapolated", ""
    if one.predicted is not None:
        predicted = f"{one.predicted:.2f} ± {NORMAL_95 * one.predicted_u:.2f}"
        off = f"{one.E:+.2f} ± {NORMAL_95 * one.u_val:.2f}".replace("-", "−")
    words = VERDICT_WORDS[one.verdict]
    return TapRow(one.setup, measured.replace("-", "−"), predicted.replace("-", "−"), off, one.verdict, words)
