"""A setup released to race: the words, the numbers it stands on, those of today, and the way back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.day_addresses_pages import SEE_OTHER, season_crumb
from server.days.release import (
    CODE_LENGTH,
    Release,
    release_setup,
    setup_code,
    standing_releases,
    take_back,
    values_code,
)
from server.days.season import SeasonDay, SetupKey
from server.days.season_standing import Standing, standings
from server.days.season_view import QUANTITIES, Letter, letters_of, stand_text
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.season_points import ON_SCREEN
from server.results.season_days import season_days
from server.templating import Page, render

router = APIRouter(prefix="/season/release", default_response_class=HTMLResponse, include_in_schema=False)
Code = Annotated[str, Path(pattern=rf"^[0-9a-f]{{{CODE_LENGTH}}}$")]
Words = Annotated[str, Form(max_length=4000)]
Seen = Annotated[str, Form(max_length=100)]
NO_SETUP = "No setup of the archive goes by this address; it may have been recorded anew."


@dataclass(frozen=True, slots=True)
class Told:
    """A quantity of the setup: as it stood at the release (empty without one), and as it stands."""

    quantity: str
    then: str
    now: str


@dataclass(frozen=True, kw_only=True)
class ReleasePage(Page):
    """A setup and its release. days: those that measured it.

    letter, speed_mps: None where it is recorded otherwise now.
    seen: names the values that stand here; typed: a statement or reason that was refused.
    """

    template: ClassVar[str] = "days/release.html"
    help: ClassVar[str] = "season"
    code: str
    letter: Letter | None
    car: str
    name: str
    recorded: str
    speed_mps: float | None
    days: tuple[SeasonDay, ...]
    standing: Release | None
    told: tuple[Told, ...]
    moved: bool
    seen: str
    typed: str
    problem: str


@router.get("/{code}", name="release")
def show(request: Request, code: Code, archive: TheArchive) -> Response:
    """The page."""
    return _page(request, archive, code)


@router.post("/{code}", name="release_setup")
def release(
    request: Request, code: Code, archive: TheArchive, person: CurrentPerson, *, statement: Words = "", seen: Seen = ""
) -> Response:
    """Release the setup on the numbers that stand."""
    try:
        with archive.database.writing() as session:
            one = _setup(archive, session, code)
            release_setup(session, one.key, statement=statement, told=_values(one), who=person, seen=seen)
    except NotFoundError:
        raise
    except StillairError as error:
        return _page(request, archive, code, typed=statement, problem=str(error))
    return _back(request, code)


@router.post("/{code}/back", name="release_back")
def back(request: Request, code: Code, archive: TheArchive, person: CurrentPerson, reason: Words = "") -> Response:
    """Take the release back."""
    try:
        with archive.database.writing() as session:
            take_back(session, code, reason=reason, who=person)
            gone = _found(archive, session, code) is None
    except StillairError as error:
        return _page(request, archive, code, typed=reason, problem=str(error))
    return RedirectResponse(request.app.url_path_for("days"), SEE_OTHER) if gone else _back(request, code)


def _found(archive: Archive, session: Session, code: str) -> tuple[Standing, Letter] | None:
    """The setup that a code names; None where none is recorded just so."""
    days = season_days(archive, session)
    for one in standings(days, QUANTITIES):
        if setup_code(one.key) == code:
            return one, letters_of(days).of(one.key)
    return None


def _setup(archive: Archive, session: Session, code: str) -> Standing:
    found = _found(archive, session, code)
    if found is None:
        raise NotFoundError(NO_SETUP)
    return found[0]


def _values(one: Standing) -> dict[str, str]:
    """The setup's values as they stand, in words."""
    return {ON_SCREEN[name].words: stand_text(one.stands[name], name).text for name in QUANTITIES if name in one.stands}


def _page(request: Request, archive: Archive, code: str, *, typed: str = "", problem: str = "") -> Response:
    with archive.database.reading() as session:
        found, standing = _found(archive, session, code), standing_releases(session).get(code)
    setup: SetupKey | Release | None = found[0].key if found else standing
    if setup is None:
        raise NotFoundError(NO_SETUP)
    now, then = _values(found[0]) if found else {}, dict(standing.told) if standing else {}
    page = ReleasePage(
        title=f"Release of {setup.name}",
        crumbs=(season_crumb(request),),
        code=code,
        letter=found[1] if found else None,
        car=setup.car,
        name=setup.name,
        recorded=setup.recorded,
        speed_mps=found[0].key.speed_mps if found else None,
        days=found[0].days if found else (),
        standing=standing,
        told=tuple(Told(name, then.get(name, ""), now.get(name, "not measured")) for name in {**then, **now}),
        moved=found is not None and standing is not None and then != now,
        seen=values_code(now),
        typed=typed,
        problem=problem,
    )
    return render(request, page, 422 if problem else 200)


def _back(request: Request, code: str) -> Response:
    return RedirectResponse(request.app.url_path_for("release", code=code), SEE_OTHER)
