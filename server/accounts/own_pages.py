"""One's own account: password, devices, tokens of programs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from server.accounts.pages import TOO_EARLY, Name, Number
from server.accounts.roles import ROLES, may
from server.accounts.service import find_account, name_key, role_in_words, set_password
from server.accounts.signing_in import (
    Visitor,
    check_password,
    devices_of,
    end_token,
    make_token,
    sign_in,
    sign_out_others,
    tokens_of,
)
from server.dependencies import CurrentVisitor, TheArchive, TheThrottle, visitor_of
from server.errors import ForbiddenError, StillairError
from server.gate import set_mark
from server.templating import Page, render

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)

SEE_OTHER = 303
NO_ACCOUNT_HERE = "This server listens to this computer alone: there is no account in use here."
NO_PROGRAM = "A program cannot change accounts; sign in with your password."


class PasswordForm(BaseModel):
    """The password in use, and another twice."""

    old: str = Field("", max_length=400)
    password: str = Field("", max_length=400)
    again: str = Field("", max_length=400)


@dataclass(frozen=True, slots=True)
class DeviceLine:
    """A device that is signed in; `this` is the one in hand."""

    words: str
    since: str
    until: str
    this: bool


@dataclass(frozen=True, slots=True)
class TokenLine:
    """A program's token."""

    number: int
    name: str
    role: str
    since: str


@dataclass(frozen=True, kw_only=True)
class AccountPage(Page):
    """One's own account; `fresh` is a token just made, shown once."""

    template: ClassVar[str] = "accounts/own.html"
    help: ClassVar[str] = "accounts"
    name: str
    role: str
    devices: tuple[DeviceLine, ...]
    tokens: tuple[TokenLine, ...]
    roles: tuple[str, ...]
    fresh: str
    problem: str
    said: str


@router.get("/account", name="account")
def own(request: Request, archive: TheArchive, visitor: CurrentVisitor) -> Response:
    """The page; on a server for this computer alone the list of accounts instead."""
    if visitor is None or visitor.account_id is None:
        return RedirectResponse("/people", SEE_OTHER)
    return _page(request, archive, visitor)


@router.post("/account/password", name="account_password")
def change_password(
    request: Request, archive: TheArchive, throttle: TheThrottle, sent: Annotated[PasswordForm, Form()]
) -> Response:
    """Another password; every other device must sign in anew, this one gets a new mark."""
    me = _person(visitor_of(request))
    key = f"as {name_key(me.name)}"
    wait = math.ceil(throttle.begin(key))
    if wait:
        return _page(request, archive, me, problem=TOO_EARLY.format(wait=wait), status=429)
    try:
        with archive.database.writing() as session:
            account = check_password(session, me.name, sent.old)
            set_password(session, account, sent.password, sent.again, by=me.name)
            mark = sign_in(session, account, request.headers.get("user-agent", ""))
    except StillairError as error:
        return _page(request, archive, me, problem=str(error), status=422)
    throttle.was_right(key)
    return set_mark(RedirectResponse("/account", SEE_OTHER), request, mark)


@router.post("/account/devices", name="account_devices")
def end_devices(request: Request, archive: TheArchive, visitor: CurrentVisitor) -> Response:
    """Every device but this one must sign in anew."""
    me = _person(visitor)
    with archive.database.writing() as session:
        ended = sign_out_others(session, find_account(session, me.account_id or 0).id, me.sign_in)
    words = "No other device was signed in." if not ended else f"{ended} other device{'s' * (ended > 1)} signed out."
    return _page(request, archive, me, said=words)


@router.post("/account/tokens", name="account_tokens")
def add_token(
    request: Request, archive: TheArchive, visitor: CurrentVisitor, name: Name = "", role: Annotated[str, Form()] = ""
) -> Response:
    """A token for a program, shown this once."""
    me = _person(visitor)
    try:
        with archive.database.writing() as session:
            token = make_token(session, me, name, role)
    except StillairError as error:
        return _page(request, archive, me, problem=str(error), status=422)
    return _page(request, archive, me, fresh=token)


@router.post("/account/tokens/{number}/end", name="account_token_end")
def drop_token(archive: TheArchive, visitor: CurrentVisitor, number: Number) -> Response:
    """A token opens nothing any more."""
    with archive.database.writing() as session:
        end_token(session, _person(visitor), number)
    return RedirectResponse("/account", SEE_OTHER)


def _person(visitor: Visitor | None) -> Visitor:
    if visitor is None or visitor.account_id is None:
        raise StillairError(NO_ACCOUNT_HERE)
    if visitor.sign_in is None:
        raise ForbiddenError(NO_PROGRAM)
    return visitor


def _page(
    request: Request, archive: TheArchive, me: Visitor, *, fresh: str = "", problem: str = "", said: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    with archive.database.reading() as session:
        devices, tokens = _devices(session, me), _tokens(session, me)
    page = AccountPage(
        title="Your account", name=me.name, role=role_in_words(me.role), devices=devices, tokens=tokens,
        roles=tuple(role for role in ROLES if may(me.role, role)), fresh=fresh, problem=problem, said=said,
    )  # fmt: skip
    answer = render(request, page, status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _devices(session: Session, me: Visitor) -> tuple[DeviceLine, ...]:
    rows = devices_of(session, me.account_id or 0)
    return tuple(
        DeviceLine(row.device or "a device", f"{row.began_at:%d %b %Y, %H:%M}", f"{row.ends_at:%d %b %Y}",
                   row.key_sha256 == me.sign_in)
        for row in rows
    )  # fmt: skip


def _tokens(session: Session, me: Visitor) -> tuple[TokenLine, ...]:
    rows = tokens_of(session, me.account_id or 0)
    return tuple(TokenLine(row.id, row.name, row.role, f"{row.made_at:%d %b %Y}") for row in rows)
