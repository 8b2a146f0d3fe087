"""A day signed off: the statement, what it stands for, and what was changed since."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.service import find_day, newest_revision
from server.days.sign_off import SignOff, open_amendment, sign, sign_off_of
from server.days.tables import DayRevision
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.results.service import latest_result
from server.templating import Page, render

router = APIRouter(prefix="/days/{day_id}/sign-off", default_response_class=HTMLResponse, include_in_schema=False)
Words = Annotated[str, Form(max_length=4000)]
Seen = Annotated[int, Form(ge=0, le=2**31)]


@dataclass(frozen=True, kw_only=True)
class SignOffPage(Page):
    """Whether a day is signed off. result, revision: what a signature now would stand for; 0 without a result.

    statement, reason: what was typed and refused.
    """

    template: ClassVar[str] = "results/sign_off.html"
    help: ClassVar[str] = "archive"
    day_id: int
    standing: SignOff | None
    result: int
    revision: int
    moved: bool
    statement: str
    reason: str
    problem: str


@router.get("", name="sign_off")
def show(request: Request, day_id: DayId, archive: TheArchive) -> Response:
    """The page."""
    return _page(request, archive, day_id)


@router.post("", name="sign_day")
def sign_day(
    request: Request, day_id: DayId, archive: TheArchive, person: CurrentPerson, *,
    statement: Words = "", seen: Seen = 0,
) -> Response:  # fmt: skip
    """Sign the day off as it stands."""
    try:
        with archive.database.writing() as session:
            sign(session, day_id, result=_newest(session, day_id), statement=statement, who=person, seen=seen)
    except NotFoundError:
        raise
    except StillairError as error:
        return _page(request, archive, day_id, statement=statement, problem=str(error))
    return _back(request, day_id)


@router.post("/amend", name="amend_day")
def amend(request: Request, day_id: DayId, archive: TheArchive, person: CurrentPerson, reason: Words = "") -> Response:
    """Open the day for changes under one reason."""
    try:
        with archive.database.writing() as session:
            open_amendment(session, day_id, reason=reason, who=person)
    except NotFoundError:
        raise
    except StillairError as error:
        return _page(request, archive, day_id, reason=reason, problem=str(error))
    return _back(request, day_id)


def _newest(session: Session, day_id: int) -> tuple[int, int, str] | None:
    result = latest_result(session, day_id)
    if result is None:
        return None
    return result.id, session.get_one(DayRevision, result.revision_id).number, result.sha256


def _page(
    request: Request, archive: Archive, day_id: int, *, statement: str = "", reason: str = "", problem: str = ""
) -> Response:
    with archive.database.reading() as session:
        day, standing, newest = find_day(session, day_id), sign_off_of(session, day_id), _newest(session, day_id)
        revision = newest_revision(session, day_id).number
    page = SignOffPage(
        title="Sign-off",
        crumbs=(season_crumb(request), day_crumb(request, day_id, day.name)),
        day_id=day_id,
        standing=standing,
        result=newest[0] if newest else 0,
        revision=revision,
        moved=standing is not None and newest is not None and newest[0] != standing.result,
        statement=statement,
        reason=reason,
        problem=problem,
    )
    return render(request, page, 422 if problem else 200)


def _back(request: Request, day_id: int) -> Response:
    return RedirectResponse(request.app.url_path_for("sign_off", day_id=str(day_id)), SEE_OTHER)
