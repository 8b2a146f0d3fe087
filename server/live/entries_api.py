"""Stands before the pages where a request brings an entry: answers what was kept before, and tells scripts how it went.

kept: 200 with the event and the page that shows it; changed meanwhile: 409 with the revision that stands now;
refused: the route's own answer; the archive cannot be asked for a while: 503, and the entry is sent again.
"""

from __future__ import annotations

from typing import Any

from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.archive.archive import Archive
from server.archive.entries import AlreadyKeptError, Entry, current_entry
from server.errors import ASK_LATER, ArchiveBusyError, StillairError
from server.live.entries import entry_of, kept_answer

CONFLICT = "Somebody changed the same thing meanwhile (revision {number}); both stand here, choose."


class EntryGate:
    """Wraps the application."""

    def __init__(self, app: ASGIApp, archive: Archive) -> None:
        self._app, self._archive = app, archive

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or scope["method"] != "POST":
            await self._app(scope, receive, send)
            return
        try:
            entry = entry_of(Headers(scope=scope))
        except StillairError as refusal:
            await JSONResponse({"error": str(refusal)}, 422)(scope, receive, send)
            return
        if entry is None:
            await self._app(scope, receive, send)
            return
        told = _Told(entry, send)
        try:
            await self._once(entry, scope, receive, told)
        except ArchiveBusyError as away:
            await told.wait(str(away), scope, receive)

    async def _once(self, entry: Entry, scope: Scope, receive: Receive, told: _Told) -> None:
        before = await run_in_threadpool(kept_answer, self._archive, entry.id)
        if before is not None:
            await told.end(before, scope, receive)
            return
        token = current_entry.set(entry)
        try:
            await self._app(scope, receive, told)
        except AlreadyKeptError:  # the same entry came twice at once
            told.held.clear()
        finally:
            current_entry.reset(token)
        kept = await run_in_threadpool(kept_answer, self._archive, entry.id)
        if told.goes_to is not None:
            kept = {"kept": True, **(kept or {}), "location": told.goes_to}
        await told.end(kept, scope, receive)


class _Told:
    """Lets an answer through as it comes, but holds one that may have to be told in another form."""

    def __init__(self, entry: Entry, send: Send) -> None:
        self._entry, self._send = entry, send
        self._lets_through = False
        self.goes_to: str | None = None
        self.held: list[Message] = []

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._lets_through = message["status"] < 300
            if 300 <= message["status"] < 400:
                self.goes_to = Headers(raw=message["headers"]).get("location", "")
        if self._lets_through:
            await self._send(message)
        else:
            self.held.append(message)

    async def wait(self, sentence: str, scope: Scope, receive: Receive) -> None:
        """Say that nobody knows yet whether the entry is kept; sent again, it is told. What has gone out stays."""
        if self._lets_through:
            return
        if self.goes_to is not None:  # the route kept it
            await JSONResponse({"kept": True, "location": self.goes_to})(scope, receive, self._send)
            return
        await JSONResponse({"error": sentence}, 503, ASK_LATER)(scope, receive, self._send)

    async def end(self, kept: dict[str, Any] | None, scope: Scope, receive: Receive) -> None:
        """Send what was held, or what a script needs in its place. kept: the entry is in the archive by now."""
        number = self._entry.conflict
        if self._lets_through:
            return
        if kept is not None:
            await JSONResponse(kept)(scope, receive, self._send)
        elif number is not None:
            told = {"error": CONFLICT.format(number=number), "revision": number}
            await JSONResponse(told, 409)(scope, receive, self._send)
        else:
            for message in self.held:
                await self._send(message)
