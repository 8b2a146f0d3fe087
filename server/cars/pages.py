"""Pages of a car and its setups: what exactly was run, a form for each thing of it, and all cars over all days."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import APIRouter, Depends, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.analysis.result import DayResult
from server.days.beside_fit import is_seen
from server.days.car_view import WEATHER_COLUMNS, CarView, car_view
from server.days.cars_view import CarOverDays, cars_over_days
from server.days.corrections import Correction, OtherDay, correct, days_that_share
from server.days.form_fields import FieldError, Form, Typed, one, refilled
from server.days.forms import form_of
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, Jobs, Results, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.theme import SetupMark, setup_marks
from server.results.moved_view import MovedView, moved_view
from server.results.service import latest_result
from server.templating import Crumb, Page, is_htmx, render, render_part

router = APIRouter(default_response_class=HTMLResponse)
SEE_OTHER = 303
MOST_FIELDS = 2000
LONGEST_REASON = 400
DayId = Annotated[int, Path(ge=1, le=2**31)]


@dataclass(frozen=True, kw_only=True)
class CarPage(Page):
    """The car and the setups of a day. problems: other days that a correction could not reach."""

    template: ClassVar[str] = "cars/car.html"
    help: ClassVar[str] = "result"
    day_id: int
    date: str
    view: CarView
    sentence: str
    marks: dict[str, SetupMark]
    columns: tuple[str, ...]
    moved: MovedView | None
    stale: bool
    problems: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class CarFormPage(Page):
    """One form under its own address. others: days of the same car with the same value; also: those ticked."""

    template: ClassVar[str] = "cars/edit.html"
    help: ClassVar[str] = "result"
    day_id: int
    form: Form
    revision: int
    others: tuple[OtherDay, ...]
    also: tuple[int, ...]
    problem: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class CarsPage(Page):
    """All cars over all days."""

    template: ClassVar[str] = "cars/list.html"
    help: ClassVar[str] = "cars"
    cars: tuple[CarOverDays, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as it was sent."""

    typed: Typed
    revision: int
    reason: str
    also: tuple[int, ...]


@router.get("/cars", name="cars")
def cars(request: Request, archive: TheArchive) -> HTMLResponse:
    """Which days a car had, and what differs between them."""
    with archive.database.reading() as session:
        found = cars_over_days(archive, session)
    return render(request, CarsPage(title="Cars", crumbs=_crumbs(request), cars=found, sentence=cars_sentence(found)))


def cars_sentence(cars: tuple[CarOverDays, ...]) -> str:
    """How many cars, and what changed last, in one sentence."""
    if not cars:
        return "No test day is here yet, so there is no car."
    count = f"{len(cars)} car{'' if len(cars) == 1 else 's'} on {sum(len(car.days) for car in cars)} test days"
    changes = [
        (day.date, f"{words.split(',')[0].lower()} of {car.name or 'the car without a name'} now {cell.text}")
        for car in cars
        for day in car.days
        for (_, words), cell in zip(car.columns, day.cells, strict=True)
        if cell.changed
    ]
    if not changes:
        return f"{count}; nothing differs from one day to the next."
    date, what = max(changes, key=lambda change: change[0])
    return f"{count}; what changed last, on {date}: {what}."


@router.get("/days/{day_id}/car", name="car")
def car(request: Request, day_id: DayId, archive: TheArchive, results: Results) -> HTMLResponse:
    """What exactly was run on a day."""
    return render(request, _car_page(request, day_id, archive, results))


@router.get("/days/{day_id}/car/{slug}", name="car_form")
def one_form(request: Request, day_id: DayId, slug: str, archive: TheArchive) -> HTMLResponse:
    """One form: a page of its own, or a piece of the car's page."""
    page = _form_page(request, day_id, slug, archive)
    if is_htmx(request):
        names = ("day_id", "form", "revision", "others", "also", "problem", "reason")
        return render_part(request, "cars/form.html", **{name: getattr(page, name) for name in names})
    return render(request, page)


async def _filled(request: Request) -> AsyncIterator[Filled]:
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        typed = {name: tuple(str(value) for value in form.getlist(name)) for name in form}
        revision = one(typed, "revision")
        yield Filled(
            typed,
            int(revision) if revision.isascii() and revision.isdigit() else 0,
            one(typed, "reason")[:LONGEST_REASON],
            tuple(int(text) for text in typed.get("also", ()) if text.isascii() and text.isdigit()),
        )


@router.post("/days/{day_id}/car/{slug}", name="car_change")
def keep(
    request: Request, day_id: DayId, slug: str, *, archive: TheArchive, results: Results, jobs: Jobs,
    person: CurrentPerson, filled: Annotated[Filled, Depends(_filled)],
) -> Response:  # fmt: skip
    """Keep what a form says, here and on the days that were ticked; or the form again with one sentence."""
    try:
        made = correct(
            archive, day_id, slug, filled.typed,
            also=filled.also, who=person, reason=filled.reason, expected=filled.revision,
        )  # fmt: skip
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _form_page(request, day_id, slug, archive, (filled, refusal)), 422)
    jobs.wake()
    return _kept(request, day_id, archive, results, made)


def _kept(request: Request, day_id: int, archive: TheArchive, results: Results, made: Correction) -> Response:
    if made.refused:
        return render(request, _car_page(request, day_id, archive, results, made.refused))
    return RedirectResponse(str(request.app.url_path_for("car", day_id=str(day_id))), SEE_OTHER)


def _form_page(
    request: Request, day_id: int, slug: str, archive: TheArchive, sent: tuple[Filled, StillairError] | None = None
) -> CarFormPage:
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        form = form_of(day, slug)
        others = days_that_share(archive, session, day_id, slug)
        number = revision.number
    problem, also, reason = "", (), ""
    if sent is not None:
        filled, refusal = sent
        form = refilled(form, filled.typed, refusal if isinstance(refusal, FieldError) else None)
        problem = "" if any(field.problem for field in form.fields) else str(refusal)
        also, reason = filled.also, filled.reason
    there = request.app.url_path_for
    above = Crumb("Car and setups", str(there("car", day_id=str(day_id))))
    return CarFormPage(
        title=form.title,
        crumbs=(*_crumbs(request), _day_crumb(request, day_id, day.name), above),
        day_id=day_id,
        form=form,
        revision=number,
        others=others,
        also=also,
        problem=problem,
        reason=reason,
    )


def _car_page(
    request: Request, day_id: int, archive: TheArchive, results: Results, problems: tuple[str, ...] = ()
) -> CarPage:
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        row = latest_result(session, day_id)
        result = results.read(row.sha256) if row else None
        moved = moved_view(session, day_id)
        stale = not is_seen(session, revision, row.revision_id if row else None)
    view = car_view(day)
    return CarPage(
        title="Car and setups",
        crumbs=(*_crumbs(request), _day_crumb(request, day_id, day.name)),
        day_id=day_id,
        date=day.date.isoformat() if day.date else "no date",
        view=view,
        sentence=car_sentence(view, result),
        marks=setup_marks([setup.name for setup in day.setups]),
        columns=tuple(words for words, _ in WEATHER_COLUMNS),
        moved=moved,
        stale=stale,
        problems=problems,
    )


def car_sentence(view: CarView, result: DayResult | None) -> str:
    """What was run, how much of it nobody gave, and what to measure next."""
    setups = [row.name for row in view.setups if row.runs]
    driven = f"driven in setup{'s' if len(setups) > 1 else ''} {_listed(setups)}" if setups else "not driven yet"
    what = f"{view.car or 'The car'}, {view.mass} without driver, {driven}"
    if not view.defaults:
        return f"{what}; every value of it was given by somebody."
    rest = f"{view.defaults} of {view.properties} values are defaults"
    costly = dearest_default(result) if result else None
    if costly is None:
        return f"{what}; {rest}: measure what is marked."
    name, share = costly
    return f"{what}; {rest}. Measure next: {name}; it makes {100 * share:.0f} % of u² of the drag area."


def dearest_default(result: DayResult) -> tuple[str, float] | None:
    """The default that the drag area's interval owes most to, and its share of u²; of the setup that owes it most."""
    found: list[tuple[float, str]] = []
    for setup in result.setups:
        lines: list[Any] = [line for line in setup.budget if line.quantity == "SCx"]
        total = sum(line.contribution**2 for line in lines)
        told = [line for line in lines if line.source == "default" and line.value is not None]
        found += [(line.contribution**2 / total, line.input) for line in told if total > 0]
    if not found:
        return None
    share, name = max(found)
    return (name, share) if share >= 0.005 else None


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _crumbs(request: Request) -> tuple[Crumb, ...]:
    return (Crumb("Season", str(request.app.url_path_for("days"))),)


def _day_crumb(request: Request, day_id: int, name: str) -> Crumb:
    return Crumb(name, str(request.app.url_path_for("day", day_id=str(day_id))))
