"""The page that asks a device for the join code, and the same for programs."""

from __future__ import annotations

import ipaddress
import math
from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Problem
from server.errors import StillairError
from server.hosts import plain_address
from server.joining import LASTS_S, JoinDesk
from server.security import JOIN, JOIN_COOKIE, JOIN_PROGRAM, comes_from_here, mark_of
from server.templating import Page, is_htmx, render

router = APIRouter()

SEE_OTHER = 303
WRONG = "That is not the code; it stands on the server's screen."
NOBODY_JOINS = "This server listens to this computer alone; nobody needs to join."
TOO_EARLY = "That was tried too often; wait {wait} s, then try again."


@dataclass(frozen=True, kw_only=True)
class JoinPage(Page):
    """One field for the code; `back` is where the device wanted to go."""

    template: ClassVar[str] = "join.html"
    problem: str
    back: str


@router.get(JOIN, name="join", include_in_schema=False)
def ask(request: Request, back: str = "/") -> Response:
    """The page; a device that is in already goes on."""
    desk = _desk(request)
    if desk is None or comes_from_here(request) or desk.is_joined(mark_of(request)):
        return RedirectResponse(here(back), SEE_OTHER)
    return _page(request, here(back))


@router.post(JOIN, include_in_schema=False)
def enter(request: Request, code: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> Response:
    """Take the code; the right one gives the device its mark."""
    desk = _desk(request)
    if desk is None:
        return RedirectResponse(here(back), SEE_OTHER)
    address = network_of(request.client.host if request.client else "")
    wait = math.ceil(desk.wait_s(address))
    if wait:
        return _page(request, here(back), 429, TOO_EARLY.format(wait=wait), {"Retry-After": str(wait)})
    mark = desk.enter(address, code[:100])
    if mark is None:
        return _page(request, here(back), 401, WRONG)
    answer = RedirectResponse(here(back), SEE_OTHER)
    answer.set_cookie(JOIN_COOKIE, mark, max_age=LASTS_S, httponly=True, samesite="strict")
    return answer


class Code(BaseModel):
    """What stands on the server's screen."""

    model_config = ConfigDict(extra="forbid", strict=True, json_schema_extra={"examples": [{"code": "ABCD-1234"}]})

    code: str = Field(max_length=100)


class Joined(BaseModel):
    """What a program then sends with every request."""

    mark: str = Field(description="Sent as the header Authorization: Bearer MARK; holds for 200 days.")


@router.post(
    JOIN_PROGRAM, name="api_join", tags=["joining"], summary="Join from another device",
    response_model=Joined, responses={status: {"model": Problem} for status in (401, 422, 429)},
)  # fmt: skip
def enter_by_program(request: Request, sent: Code) -> Joined | Response:
    """Needed only where the server listens to the network; the right code gives the program its mark."""
    desk = _desk(request)
    if desk is None:
        raise StillairError(NOBODY_JOINS)
    address = network_of(request.client.host if request.client else "")
    wait = math.ceil(desk.wait_s(address))
    if wait:
        return JSONResponse({"error": TOO_EARLY.format(wait=wait)}, 429, {"Retry-After": str(wait)})
    mark = desk.enter(address, sent.code)
    if mark is None:
        return JSONResponse({"error": WRONG}, 401, _challenge(401))
    return Joined(mark=mark)


def refuse(request: Request, status: int, sentence: str) -> Response:
    """What a device gets that has not joined: the page, or a sentence as JSON for what is no page."""
    path = request.url.path
    wants_json = "application/json" in request.headers.get("accept", "")
    if is_htmx(request):
        return Response(status_code=status, headers={"HX-Redirect": JOIN, **_challenge(status)})
    if wants_json or path.startswith(("/api/", "/uploads")) or request.method not in ("GET", "HEAD"):
        return JSONResponse({"error": sentence}, status, _challenge(status))
    target = here(quote(path) + (f"?{request.url.query}" if request.url.query else ""))
    return _page(request, target, status)


def here(back: str) -> str:
    """A place of this site, or the first page."""
    parts = urlsplit(back)
    odd = not back.startswith("/") or back.startswith(("//", "/\\")) or parts.netloc or not back.isprintable()
    return "/" if odd else back


def network_of(address: str) -> str:
    """What tries are counted by: the address; of IPv6 the network, in which a device chooses as it likes."""
    plain = plain_address(address)
    return str(ipaddress.ip_network(f"{plain}/64", strict=False)) if ":" in plain else plain


def _desk(request: Request) -> JoinDesk | None:
    return request.app.state.join_desk


def _challenge(status: int) -> dict[str, str]:
    """RFC 9110 section 15.5.2: a 401 names a way to get in."""
    return {"WWW-Authenticate": 'JoinCode realm="Stillair"'} if status == 401 else {}


def _page(
    request: Request, back: str, status: int = 200, problem: str = "", headers: dict[str, str] | None = None
) -> Response:
    answer = render(request, JoinPage(title="Join", problem=problem, back=back), status)
    answer.headers.update({"Cache-Control": "no-store", **_challenge(status), **(headers or {})})
    return answer
