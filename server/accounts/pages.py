"""Coming in and going out: the page that asks for name and password, and the one that takes an invitation."""

from __future__ import annotations

import ipaddress
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from server.accounts.service import accept, has_owner, invitation_of, name_key, role_in_words
from server.accounts.signing_in import check_password, sign_in, sign_out
from server.accounts.tables import Account
from server.dependencies import CurrentVisitor, TheArchive, TheThrottle
from server.errors import StillairError
from server.gate import set_mark
from server.hosts import plain_address
from server.templating import Page, is_htmx, render

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)

SEE_OTHER = 303
TOO_EARLY = "That was tried too often; wait {wait} s, then try again."
NOT_NEEDED = "This server listens to this computer alone; nobody signs in here."
Name = Annotated[str, Form(max_length=200)]
Number = Annotated[int, Path(ge=1, le=2**31)]


class SignInForm(BaseModel):
    """Name and password, and where the person wanted to go."""

    name: str = Field("", max_length=200)
    password: str = Field("", max_length=400)
    back: str = Field("/", max_length=2000)


class InvitedForm(BaseModel):
    """A code, and the account that is to be made of it."""

    code: str = Field("", max_length=60)
    name: str = Field("", max_length=200)
    password: str = Field("", max_length=400)
    again: str = Field("", max_length=400)


@dataclass(frozen=True, kw_only=True)
class SignInPage(Page):
    """Name and password; `back` is where the person wanted to go."""

    template: ClassVar[str] = "accounts/sign_in.html"
    problem: str
    back: str
    name: str
    no_owner: bool


@dataclass(frozen=True, kw_only=True)
class InvitedPage(Page):
    """The code of an invitation, and the name and password of a new account; `role` in words once the code is known."""

    template: ClassVar[str] = "accounts/invited.html"
    problem: str
    code: str
    name: str
    role: str
    renews: str


@router.get("/sign-in", name="sign_in")
def ask(request: Request, archive: TheArchive, visitor: CurrentVisitor, back: str = "/") -> Response:
    """The page; who is in already goes on."""
    if visitor is not None:
        return RedirectResponse(here(back), SEE_OTHER)
    return _sign_in_page(request, archive, here(back))


@router.post("/sign-in")
def enter(
    request: Request, archive: TheArchive, throttle: TheThrottle, sent: Annotated[SignInForm, Form()]
) -> Response:
    """Take name and password; the right ones give the device its mark."""
    back, keys = here(sent.back), (f"from {network_of(request)}", f"as {name_key(sent.name)}")
    wait = math.ceil(throttle.begin(*keys))
    if wait:
        problem = TOO_EARLY.format(wait=wait)
        return _unkept(_sign_in_page(request, archive, back, sent.name, problem=problem, status=429), wait)
    try:
        mark = _mark_for(request, archive, lambda session: check_password(session, sent.name, sent.password))
    except StillairError as error:
        return _sign_in_page(request, archive, back, sent.name, problem=str(error), status=401)
    throttle.was_right(*keys)
    return set_mark(RedirectResponse(back, SEE_OTHER), request, mark)


@router.post("/sign-out", name="sign_out")
def leave(request: Request, archive: TheArchive, visitor: CurrentVisitor) -> Response:
    """The device's mark opens nothing any more."""
    if visitor is not None and visitor.sign_in:
        with archive.database.writing() as session:
            sign_out(session, visitor.sign_in)
    return set_mark(RedirectResponse("/", SEE_OTHER), request, "")


@router.get("/invited", name="invited")
def show_invitation(request: Request, archive: TheArchive, throttle: TheThrottle, code: str = "") -> Response:
    """The page that takes a code; with a right one it says what the code makes."""
    return _tried(request, archive, throttle, InvitedForm(code=code[:60])) if code else _invited_page(request)


@router.post("/invited")
def accept_invitation(
    request: Request, archive: TheArchive, throttle: TheThrottle, sent: Annotated[InvitedForm, Form()]
) -> Response:
    """Make the account, or set the new password, and sign the device in."""
    shown = _tried(request, archive, throttle, sent)
    if shown.status_code != 200:
        return shown
    try:
        mark = _mark_for(
            request, archive, lambda session: accept(session, sent.code, sent.name, sent.password, sent.again)
        )
    except StillairError as error:
        return _tried(request, archive, throttle, sent, problem=str(error))
    return set_mark(RedirectResponse("/", SEE_OTHER), request, mark)


def refuse(request: Request, status: int, sentence: str) -> Response:
    """What who has not signed in gets: the page, or a sentence as JSON for what is no page (RFC 9110, 15.5.2)."""
    path = request.url.path
    challenge = {"WWW-Authenticate": 'Bearer realm="Stillair"'}
    if is_htmx(request):
        return Response(status_code=status, headers={"HX-Redirect": "/sign-in", **challenge})
    wants_json = "application/json" in request.headers.get("accept", "")
    if wants_json or path.startswith(("/api/", "/uploads")) or request.method not in ("GET", "HEAD"):
        return JSONResponse({"error": sentence}, status, challenge)
    target = here(quote(path) + (f"?{request.url.query}" if request.url.query else ""))
    answer = _sign_in_page(request, request.app.state.archive, target, status=status)
    answer.headers.update(challenge)
    return answer


def here(back: str) -> str:
    """A place of this site, or the first page."""
    parts = urlsplit(back)
    odd = not back.startswith("/") or back.startswith(("//", "/\\")) or parts.netloc or not back.isprintable()
    return "/" if odd else back


def network_of(request: Request) -> str:
    """What tries are counted by: the address; of IPv6 the network, in which a device chooses as it likes."""
    plain = plain_address(request.client.host if request.client else "")
    return str(ipaddress.ip_network(f"{plain}/64", strict=False)) if ":" in plain else plain


def _mark_for(request: Request, archive: TheArchive, find: Callable[[Session], Account]) -> str:
    with archive.database.writing() as session:
        return sign_in(session, find(session), request.headers.get("user-agent", "a device without a name"))


def _tried(
    request: Request, archive: TheArchive, throttle: TheThrottle, sent: InvitedForm, *, problem: str = ""
) -> Response:
    keys = (f"from {network_of(request)}",)
    wait = math.ceil(throttle.begin(*keys))
    if wait:
        return _unkept(_invited_page(request, problem=TOO_EARLY.format(wait=wait), status=429), wait)
    try:
        with archive.database.reading() as session:
            row = invitation_of(session, sent.code)
            account = session.get(Account, row.account_id) if row.account_id else None
            role, renews = role_in_words(row.role), account.name if account else ""
    except StillairError as error:
        return _invited_page(request, problem=str(error), status=401)
    throttle.was_right(*keys)
    status = 422 if problem else 200
    return _invited_page(request, sent, role=role, renews=renews, problem=problem, status=status)


def _invited_page(
    request: Request, sent: InvitedForm | None = None, *, role: str = "", renews: str = "", problem: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    code, name = (sent.code, sent.name) if sent else ("", "")
    page = InvitedPage(title="Invited", problem=problem, code=code, name=name, role=role, renews=renews)
    return _unkept(render(request, page, status))


def _sign_in_page(
    request: Request, archive: TheArchive, back: str, name: str = "", *, problem: str = "", status: int = 200
) -> Response:
    with archive.database.reading() as session:
        no_owner = not has_owner(session)
    page = SignInPage(title="Sign in", problem=problem, back=back, name=name, no_owner=no_owner)
    return _unkept(render(request, page, status))


def _unkept(answer: Response, wait: int = 0) -> Response:
    answer.headers["Cache-Control"] = "no-store"
    if wait:
        answer.headers["Retry-After"] = str(wait)
    return answer
