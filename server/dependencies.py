"""What routes need, by name."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, Request

from server.accounts.roles import ADVISOR, ANYBODY
from server.accounts.rules import need_of
from server.accounts.signing_in import Visitor, at_hand
from server.accounts.throttle import Throttle
from server.archive.archive import Archive
from server.archive.disk import disk_in_words
from server.archive.jobs import JobRunner
from server.errors import ForbiddenError
from server.people import NOBODY, WHO_COOKIE, WHO_HEADER, person_of
from server.results.service import ResultShelf
from server.settings import Settings

NOT_ALLOWED = "Your role is {role}; this asks for {need}. An owner gives roles on the page People."
ANOTHERS = "{maker} made this entry, and {name} is signed in here; {maker} must sign in to send it."
NO_RULE = "Nobody has said yet who may do this."


def _settings(request: Request) -> Settings:
    return request.app.state.settings


async def _archive(request: Request) -> AsyncIterator[Archive]:
    """Whatever a route writes on a full disk, in the database or beside it, is the same sentence."""
    with disk_in_words():
        request.state.news = request.app.state.archive.database.news.newest  # before anything is read
        yield request.app.state.archive


def _jobs(request: Request) -> JobRunner:
    return request.app.state.jobs


def _results(request: Request) -> ResultShelf:
    return request.app.state.results


def visitor_of(request: Request) -> Visitor | None:
    """Who a request comes from: who signed in, or, where nobody signs in, whoever typed a name at this screen."""
    if request.app.state.throttle is not None:
        return getattr(request.state, "visitor", None)
    return at_hand(person_of(request.headers.get(WHO_HEADER, "").strip() or request.cookies.get(WHO_COOKIE, "")))


def known_person(request: Request) -> str:
    """The name that a form may begin with: who signed in, or what was typed at this screen; empty for nobody."""
    visitor = visitor_of(request)
    return visitor.name if visitor and visitor.name != NOBODY else ""


def _person(request: Request) -> str:
    visitor = visitor_of(request)
    return visitor.name if visitor else NOBODY


def _refuse_anothers_entry(request: Request, visitor: Visitor | None) -> None:
    """What one person typed on a tablet without a network is not sent in the name of who signs in there next."""
    maker = person_of(request.headers.get(WHO_HEADER, "").strip())
    signed_in = visitor is not None and visitor.sign_in is not None
    if signed_in and visitor is not None and WHO_HEADER in request.headers and maker != visitor.name:
        raise ForbiddenError(ANOTHERS.format(maker=maker, name=visitor.name))


def _throttle(request: Request) -> Throttle:
    return request.app.state.throttle or Throttle()


def allowed(request: Request) -> None:
    """What every route asks before anything else: may this visitor use it? Raises ForbiddenError."""
    need = need_of(request.method, request.scope["route"].path)
    visitor = visitor_of(request)
    _refuse_anothers_entry(request, visitor)
    if need is None and request.app.state.throttle is not None:
        raise ForbiddenError(NO_RULE)
    if need is None or need == ANYBODY or (visitor is not None and visitor.may(need)):
        return
    mine = visitor.role if visitor else ADVISOR
    raise ForbiddenError(NOT_ALLOWED.format(role=mine, need=need))


CurrentSettings = Annotated[Settings, Depends(_settings)]
TheArchive = Annotated[Archive, Depends(_archive)]
Jobs = Annotated[JobRunner, Depends(_jobs)]
Results = Annotated[ResultShelf, Depends(_results)]
CurrentVisitor = Annotated[Visitor | None, Depends(visitor_of)]
TheThrottle = Annotated[Throttle, Depends(_throttle)]
CurrentPerson = Annotated[str, Depends(_person)]
