"""What every answer carries and every request must pass: content policy, host, origin, size."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

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

SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
LOOPBACK_NAMES = {"localhost", "localhost.localdomain"}
WRONG_HOST = "This server answers only to the address it was opened at."
NO_LENGTH = "What is sent must say how long it is."
WRONG_ORIGIN = "This came from another page than Stillair's own, and was not taken."


class Guard:
    """Wraps the application: adds the headers and refuses what may not come in.

    loopback_only: the server listens on this computer alone, so a request that names another host has been
    led here by a page that plays with names. body_limit_bytes: the largest body that is begun to be read.
    refuse: makes an answer of a status and a sentence.
    """

    def __init__(self, app: ASGIApp, loopback_only: bool, body_limit_bytes: int, refuse: Refuse) -> None:
        self._app, self._loopback_only = app, loopback_only
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
        if self._loopback_only and not is_loopback(host):
            return 421, WRONG_HOST
        if scope["method"] not in SAFE_METHODS and not is_same_origin(headers, host):
            return 403, WRONG_ORIGIN
        if "transfer-encoding" in headers:
            return 411, NO_LENGTH
        if int(headers.get("content-length", "0")) > self._limit:
            return 413, f"At most {self._limit / 1e6:.0f} MB can be sent at once."
        return None


def is_same_origin(headers: Headers, host: str) -> bool:
    """Whether a write comes from a page of this server: Origin, or else Referer, must name the same host."""
    sent_from = headers.get("origin") or headers.get("referer") or ""
    return bool(host) and urlsplit(sent_from).netloc == host


def is_loopback(host: str) -> bool:
    """Whether a Host header names this computer: localhost, 127.0.0.0/8 or ::1, with or without a port."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
        return name in LOOPBACK_NAMES or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-cache")
        await send(message)

    return sending
