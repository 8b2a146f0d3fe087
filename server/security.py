"""What every answer carries and every request must pass: content policy, host, origin and size."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.hosts import is_loopback, is_own_host
from server.people import WHO_HEADER

# blob: and data: are for pictures alone: the plot library turns a figure into a PNG by way of both.
CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
Refuse = Callable[[Request, int, str], Response]

JSON_LIMIT_BYTES = 4_000_000  # read whole into memory; the longest list of times that a person types is far shorter
SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
WRONG_HOST = "This server answers only to the address it was opened at."
NO_LENGTH = "What is sent must say how long it is."
WRONG_ORIGIN = "This came from another page than Stillair's own, and was not taken."

PROGRAMS = "/api/"
PROGRAM_TYPES = ("application/json", "application/zip", "application/octet-stream")


class Guard:
    """Wraps the application: adds the headers and refuses what may not come in.

    names: what neighbours may call this computer; None when the server listens to this computer alone. A request
    that names another host has been led here by a page that plays with names. body_limit_bytes: the largest body
    that is begun to be read. refuse: makes an answer of a status and a sentence.
    """

    def __init__(self, app: ASGIApp, names: frozenset[str] | None, body_limit_bytes: int, refuse: Refuse) -> None:
        self._app, self._names = app, names
        self._limit, self._refuse = body_limit_bytes, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        answer = self._refuse(Request(scope), *refusal) if refusal else self._app
        await answer(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._is_own(host, scope):
            return 421, WRONG_HOST
        if scope["method"] not in SAFE_METHODS and not may_write(headers, host, scope["path"]):
            return 403, WRONG_ORIGIN
        if "transfer-encoding" in headers:
            return 411, NO_LENGTH
        is_json = headers.get("content-type", "").partition(";")[0].strip().lower() == "application/json"
        limit = min(self._limit, JSON_LIMIT_BYTES) if is_json else self._limit
        if int(headers.get("content-length", "0")) > limit:
            return 413, f"At most {limit / 1e6:.0f} MB can be sent at once."
        return None

    def _is_own(self, host: str, scope: Scope) -> bool:
        if self._names is None:
            return is_loopback(host)
        return is_own_host(host, self._names, (scope.get("server") or ("",))[0])


def may_write(headers: Headers, host: str, path: str) -> bool:
    """Whether a write may come in: from a page of this server, or from a program that is no browser's page.

    A program sends neither Origin nor Referer. Under /api it is let in when it says who it is, by its token or in
    X-Stillair-Who, and sends a type that no form can: either makes a browser ask first, which is never answered with a
    yes.
    """
    if headers.get("origin") is not None or headers.get("referer"):
        return is_same_origin(headers, host)
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    named = bool(headers.get(WHO_HEADER, "").strip() or headers.get("authorization", "").strip())
    return path.startswith(PROGRAMS) and kind in PROGRAM_TYPES and named


def is_same_origin(headers: Headers, host: str) -> bool:
    """Whether a write comes from a page of this server: Origin, or else Referer, must name the same host."""
    sent_from = headers.get("origin") or headers.get("referer") or ""
    return bool(host) and urlsplit(sent_from).netloc == host


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-cache")
        await send(message)

    return sending
