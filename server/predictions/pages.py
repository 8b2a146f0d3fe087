"""Pages of predictions: the sets of a car, one set, its setups matched, a set withdrawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.archive import Archive
from server.days.form_fields import Typed
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.theme import SetupMark
from server.predictions.as_csv import cases_csv
from server.predictions.cars import (
    car_names,
    check_matches,
    likely_setup,
    names_written,
    setups_of_car,
    unmatched_names,
)
from server.predictions.content import Content, read_content
from server.predictions.drafts import drafts_of
from server.predictions.service import end_of, find_set, keep_matches, list_sets, matches_of, withdraw_set
from server.predictions.tables import PredictionEnd, PredictionSet
from server.predictions.view import (
    RowView,
    SetLine,
    columns_of,
    drawn_cases,
    list_sentence,
    marks_of,
    row_views,
    set_line,
    set_sentence,
)
from server.templating import Crumb, Page, render

router = APIRouter(prefix="/predictions", default_response_class=HTMLResponse)
SEE_OTHER = 303
MOST_NAMES = 500
Number = Annotated[int, Path(ge=1, le=2**31)]
Car = Annotated[str | None, Query(max_length=200)]


@dataclass(frozen=True, slots=True)
class CarLink:
    """A car to be chosen."""

    name: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class MatchLine:
    """A name in predictions and the setup of the car that it means: chosen, or proposed where nobody chose yet."""

    written: str
    chosen: str
    said: bool


@dataclass(frozen=True, kw_only=True)
class PredictionsPage(Page):
    """The sets of a car. drafts: tables that were left on their way (number, file, when)."""

    template: ClassVar[str] = "predictions/list.html"
    help: ClassVar[str] = "predictions"
    car: str
    cars: tuple[CarLink, ...]
    sentence: str
    standing: tuple[SetLine, ...]
    ended: tuple[SetLine, ...]
    drafts: tuple[tuple[int, str, str], ...]
    unmatched: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PredictionSetPage(Page):
    """One set: its cases, how each was given, the rows left out, where it comes from."""

    template: ClassVar[str] = "predictions/set.html"
    help: ClassVar[str] = "predictions"
    number: int
    car: str
    sentence: str
    problem: str
    reason: str
    about: tuple[tuple[str, str], ...]
    said: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[RowView, ...]
    marks: dict[str, SetupMark]
    drawn: bool
    left_out: tuple[tuple[str, str], ...]
    end: PredictionEnd | None
    unmatched: tuple[str, ...]
    day_id: int | None
    file_sha256: str
    areas: bool


@dataclass(frozen=True, kw_only=True)
class MatchingPage(Page):
    """Which setup of the car each name in its predictions means."""

    template: ClassVar[str] = "predictions/matching.html"
    help: ClassVar[str] = "predictions"
    car: str
    sentence: str
    setups: tuple[str, ...]
    lines: tuple[MatchLine, ...]


@router.get("", name="predictions")
def predictions(request: Request, archive: TheArchive, car: Car = None) -> HTMLResponse:
    """The sets of a car, or of the first of them."""
    with archive.database.reading() as session:
        names = car_names(archive, session)
        chosen = car if car is not None else names[0] if names else ""
        sets = list_sets(session, chosen)
        ended = {one.id: end for one in sets if (end := end_of(session, one.id)) is not None}
        unmatched = unmatched_names(archive, session, chosen)
        drafts = tuple((one.id, one.file_name, f"{one.made_at:%Y-%m-%d %H:%M}") for one in drafts_of(session, chosen))
        page = PredictionsPage(
            title="Predictions",
            crumbs=_crumbs(request)[:1],
            car=chosen,
            cars=tuple(CarLink(name, name == chosen) for name in names),
            sentence=list_sentence(chosen, sets, ended, unmatched),
            standing=tuple(set_line(one, None) for one in sets if one.id not in ended),
            ended=tuple(set_line(one, ended[one.id]) for one in sets if one.id in ended),
            drafts=drafts,
            unmatched=unmatched,
        )
    return render(request, page)


@router.get("/matching", name="prediction_matching")
def matching(request: Request, archive: TheArchive, car: Annotated[str, Query(max_length=200)] = "") -> HTMLResponse:
    """The form that matches names to setups."""
    with archive.database.reading() as session:
        setups, said = setups_of_car(archive, session, car), matches_of(session, car)
        lines = tuple(
            MatchLine(one, said.get(one, likely_setup(one, setups)), one in said or one in setups)
            for one in names_written(archive, session, car)
        )
    open_names = [one.written for one in lines if not one.said]
    page = MatchingPage(
        title="Setups in predictions",
        crumbs=(*_crumbs(request), car_crumb(request, car)),
        car=car,
        sentence=matching_sentence(lines, open_names),
        setups=setups,
        lines=lines,
    )
    return render(request, page)


def matching_sentence(lines: tuple[MatchLine, ...], open_names: list[str]) -> str:
    """How many names are open."""
    if not lines:
        return "No prediction of this car names a setup yet."
    if not open_names:
        return f"Every name in the predictions of this car is settled ({len(lines)})."
    return f"{len(open_names)} of {len(lines)} names in the predictions are no setups of the car: say which each means."


@router.post("/matching", name="prediction_match")
async def match(request: Request, archive: TheArchive, person: CurrentPerson) -> Response:
    """Keep which setup each name means."""
    async with request.form(max_files=0, max_fields=2 * MOST_NAMES) as form:
        typed: Typed = {name: tuple(str(value) for value in form.getlist(name)) for name in form}
    car = typed.get("car", ("",))[0]
    return _kept_matches(request, archive, car, matches_of_form(typed), person)


def matches_of_form(typed: Typed) -> dict[str, str]:
    """Name → setup from lists that stand side by side."""
    return dict(zip(typed.get("written", ()), typed.get("means", ()), strict=False))


def _kept_matches(request: Request, archive: Archive, car: str, chosen: dict[str, str], person: str) -> Response:
    with archive.database.reading() as session:
        check_matches(archive, session, car, chosen)
    with archive.database.writing() as session:
        keep_matches(session, car, chosen, who=person)
    return RedirectResponse(f"{request.app.url_path_for('predictions')}?{_query(car)}", SEE_OTHER)


@router.get("/{number}", name="prediction_set")
def prediction_set(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """One set."""
    return render(request, _set_page(request, archive, number))


@router.get("/{number}/cases.csv", name="prediction_set_csv")
def set_csv(number: Number, archive: TheArchive) -> Response:
    """A set's cases as a day folder's predictions.csv, the names as the set has them; of taps, as a table of taps."""
    with archive.database.reading() as session:
        one = find_set(session, number)
        text = cases_csv(read_content(archive.raw, one.content_sha256))
    name = "predictions.csv" if one.kind == "areas" else "taps.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.post("/{number}/withdraw", name="withdraw_prediction_set")
def withdraw(
    request: Request, number: Number, archive: TheArchive, person: CurrentPerson,
    reason: Annotated[str, Form(max_length=400)] = "",
) -> Response:  # fmt: skip
    """A set stands no more, for a reason."""
    try:
        with archive.database.writing() as session:
            withdraw_set(session, number, who=person, reason=reason)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _set_page(request, archive, number, str(refusal), reason), 422)
    return RedirectResponse(str(request.app.url_path_for("prediction_set", number=str(number))), SEE_OTHER)


def _set_page(
    request: Request, archive: Archive, number: int, problem: str = "", reason: str = ""
) -> PredictionSetPage:
    with archive.database.reading() as session:
        one, end = find_set(session, number), end_of(session, number)
        content = read_content(archive.raw, one.content_sha256)
        matches, setups = matches_of(session, one.car), setups_of_car(archive, session, one.car)
    rows = row_views(content, matches)
    names = list(dict.fromkeys(row.setup for row in rows))
    unmatched = tuple(name for name in names if name not in setups and name not in matches)
    return PredictionSetPage(
        title=one.name,
        crumbs=(*_crumbs(request), car_crumb(request, one.car)),
        number=number,
        car=one.car,
        sentence=set_sentence(one, content, unmatched),
        problem=problem,
        reason=reason,
        about=_about(one),
        said=content.said,
        columns=columns_of(content),
        rows=rows,
        marks=marks_of(setups, names),
        drawn=drawn_cases(content),
        left_out=_left_out(content),
        end=end,
        unmatched=unmatched,
        day_id=one.day_id,
        file_sha256=one.file_sha256,
        areas=one.kind == "areas",
    )


def _about(one: PredictionSet) -> tuple[tuple[str, str], ...]:
    return (
        ("CFD recipe", one.recipe or "not said"),
        ("by", one.author or "not said"),
        ("date", one.dated.isoformat() if one.dated else "not said"),
        ("table", one.file_name),
        ("SHA-256 of the table", one.file_sha256),
        ("kept", f"{one.made_at:%Y-%m-%d %H:%M} UTC by {one.who}"),
    )


def _left_out(content: Content) -> tuple[tuple[str, str], ...]:
    return tuple((row.problem, "; ".join(f"{k} {v}" for k, v in row.given.items())) for row in content.left_out)


def _crumbs(request: Request) -> tuple[Crumb, ...]:
    there = request.app.url_path_for
    return (Crumb("Season", str(there("days"))), Crumb("Predictions", str(there("predictions"))))


def car_crumb(request: Request, car: str) -> Crumb:
    """The way up to a car's sets."""
    return Crumb(car or "No name", f"{request.app.url_path_for('predictions')}?{_query(car)}")


def _query(car: str) -> str:
    from urllib.parse import urlencode

    return urlencode({"car": car})
