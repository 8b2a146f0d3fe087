"""Stands before the pages where others can reach the server: finds out who a request comes from, or asks."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from http.cookies import SimpleCookie
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import Response

from server.accounts import signing_in
from server.accounts.signing_in import Visitor
from server.archive.archive import Archive
from server.errors import StillairError

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "signed_in"
BEARER = "bearer "
OPEN = ("/sign-in", "/invited")
OPEN_BELOW = ("/web/",)  # scripts, styles and pictures of the product itself
NOT_SIGNED_IN = "Sign in first; whoever keeps this archive can invite you."

Refuse = Callable[[Request, int, str], Response]
Sorry = Callable[[Request, StillairError], Response]


class SignInGate:
    """Wraps the application: whoever has not signed in gets the page that asks for name and password.

    The visitor stands in `request.state.visitor` for what comes after. A mark older than a day is changed for a new
    one on the way. sorry: makes an answer where nobody can say who it is, because the database is away.
    """

    def __init__(self, app: ASGIApp, archive: Archive, refuse: Refuse, sorry: Sorry) -> None:
        self._app, self._archive, self._refuse, self._sorry = app, archive, refuse, sorry

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        if request.url.path.startswith(OPEN_BELOW) and ".." not in request.url.path:
            await self._app(scope, receive, send)
            return
        request.state.visitor = None
        try:
            visitor, new_mark = await run_in_threadpool(self._find, request)
        except StillairError as away:
            await self._sorry(request, away)(scope, receive, send)
            return
        request.state.visitor = visitor
        answer = self._app
        if visitor is None and request.url.path not in OPEN:
            answer = await run_in_threadpool(self._refuse, request, 401, NOT_SIGNED_IN)
        await answer(scope, receive, _with_mark(send, request, new_mark) if new_mark else send)

    def _find(self, request: Request) -> tuple[Visitor | None, str | None]:
        header = request.headers.get("authorization", "")
        with self._archive.database.reading() as session:
            if header.lower().startswith(BEARER):
                return signing_in.visitor_of_token(session, header[len(BEARER) :].strip()), None
            visitor = signing_in.visitor_of_mark(session, request.cookies.get(COOKIE, ""))
            key = visitor.sign_in if visitor else None
            if key is None or not signing_in.wants_new_mark(session, key):
                return visitor, None
        with suppress(StillairError), self._archive.database.writing() as session:
            return visitor, signing_in.change_mark(session, key)
        return visitor, None  # the disk is full or somebody holds the database: the old mark goes on


def set_mark(answer: Response, request: Request, mark: str) -> Response:
    """Give the device its mark."""
    answer.headers.append("Set-Cookie", cookie(mark, request))
    return answer


def cookie(mark: str, request: Request) -> str:
    """The Set-Cookie of a mark (RFC 6265); an empty one takes it away. Secure wherever the page came by HTTPS."""
    jar: SimpleCookie = SimpleCookie()
    jar[COOKIE] = mark
    lasts = round(signing_in.LASTS.total_seconds()) if mark else 0
    jar[COOKIE].update({"path": "/", "httponly": True, "samesite": "Lax", "max-age": lasts})
    if request.url.scheme == "https":
        jar[COOKIE]["secure"] = True
    return jar[COOKIE].OutputString()


def _with_mark(send: Send, request: Request, mark: str) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).append("Set-Cookie", cookie(mark, request))
        await send(message)

    return sending
