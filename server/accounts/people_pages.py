"""Who has an account: read by everybody of the team, changed by owners."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from server.accounts.pages import Name, Number
from server.accounts.roles import ROLES, WORDS
from server.accounts.service import (
    Invited,
    all_accounts,
    find_account,
    invite,
    open_invitations,
    set_closed,
    set_role,
    withdraw,
)
from server.dependencies import CurrentVisitor, TheArchive, visitor_of
from server.errors import ForbiddenError, NotFoundError, StillairError
from server.templating import Page, render

router = APIRouter(default_response_class=HTMLResponse, include_in_schema=False)

SEE_OTHER = 303
NO_PROGRAM = "A program cannot change accounts; sign in with your password."


@dataclass(frozen=True, slots=True)
class PersonLine:
    """An account; `closed` says since when, or is empty."""

    id: int
    name: str
    role: str
    since: str
    closed: str
    me: bool


@dataclass(frozen=True, slots=True)
class InvitationLine:
    """An invitation that waits."""

    id: int
    role: str
    note: str
    by: str
    until: str


@dataclass(frozen=True, kw_only=True)
class PeoplePage(Page):
    """Accounts and invitations; `fresh` is an invitation just made, whose code is shown once."""

    template: ClassVar[str] = "accounts/people.html"
    help: ClassVar[str] = "accounts"
    people: tuple[PersonLine, ...]
    invitations: tuple[InvitationLine, ...]
    roles: tuple[tuple[str, str], ...]
    may_change: bool
    alone: bool
    fresh: Invited | None
    fresh_link: str
    problem: str


@router.get("/people", name="people")
def show(request: Request, archive: TheArchive, visitor: CurrentVisitor) -> Response:
    """Who has an account."""
    return _page(request, archive, visitor)


@router.post("/people/invitations", name="invite")
def make(request: Request, archive: TheArchive, role: Annotated[str, Form()] = "", note: Name = "") -> Response:
    """A code for a new account."""
    return _answer(request, archive, lambda session, who: invite(session, role, by=who, note=note))


@router.post("/people/invitations/{number}/withdraw", name="withdraw_invitation")
def take_back(request: Request, archive: TheArchive, number: Number) -> Response:
    """An invitation opens nothing any more."""
    return _answer(request, archive, lambda session, who: withdraw(session, number, by=who))


@router.post("/people/{number}/role", name="change_role")
def change_role(request: Request, archive: TheArchive, number: Number, role: Annotated[str, Form()] = "") -> Response:
    """Another role for an account."""

    def work(session: Session, who: str) -> None:
        set_role(session, find_account(session, number), role, by=who)

    return _answer(request, archive, work)


@router.post("/people/{number}/closed", name="close_account")
def close(
    request: Request, archive: TheArchive, number: Number, closed: Annotated[bool, Form()] = True, reason: Name = ""
) -> Response:
    """Close an account or open it again."""

    def work(session: Session, who: str) -> None:
        set_closed(session, find_account(session, number), closed, by=who, reason=reason)

    return _answer(request, archive, work)


@router.post("/people/{number}/password", name="renew_password")
def renew(request: Request, archive: TheArchive, number: Number) -> Response:
    """A code with which somebody who forgot the password sets another."""

    def work(session: Session, who: str) -> Invited:
        account = find_account(session, number)
        return invite(session, account.role, by=who, account=account)

    return _answer(request, archive, work)


def _answer(request: Request, archive: TheArchive, work: Callable[[Session, str], Invited | None]) -> Response:
    visitor = visitor_of(request)
    if visitor is None or (visitor.account_id is not None and visitor.sign_in is None):
        raise ForbiddenError(NO_PROGRAM)
    try:
        with archive.database.writing() as session:
            made = work(session, visitor.name)
    except NotFoundError:
        raise
    except StillairError as error:
        return _page(request, archive, visitor, problem=str(error), status=422)
    if made is not None:
        return _page(request, archive, visitor, fresh=made)
    return RedirectResponse("/people", SEE_OTHER)


def _page(
    request: Request, archive: TheArchive, visitor: CurrentVisitor, *, fresh: Invited | None = None, problem: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    mine = visitor.account_id if visitor else None
    with archive.database.reading() as session:
        people = tuple(
            PersonLine(one.id, one.name, one.role, f"{one.made_at:%d %b %Y}",
                       f"{one.closed_at:%d %b %Y}" if one.closed_at else "", one.id == mine)
            for one in all_accounts(session)
        )  # fmt: skip
        invitations = tuple(
            InvitationLine(one.id, one.role, one.note, one.made_by, f"{one.ends_at:%d %b, %H:%M}")
            for one in open_invitations(session)
        )
    page = PeoplePage(
        title="People", people=people, invitations=invitations, roles=tuple((role, WORDS[role]) for role in ROLES),
        may_change=visitor is not None and visitor.may("owner"), alone=mine is None, fresh=fresh,
        fresh_link=f"{str(request.base_url).rstrip('/')}/invited?code={fresh.code}" if fresh else "", problem=problem,
    )  # fmt: skip
    answer = render(request, page, status)
    answer.headers["Cache-Control"] = "no-store"
    return answer
