"""A server that listens to the network, seen from another device, with and without an account."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import httpx
from fastapi import FastAPI
from starlette.types import ASGIApp, Receive, Scope, Send

from server.accounts.service import accept, invite
from server.accounts.tables import Account
from server.app import create_app
from server.archive.jobs import JobKind
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.serving import served

LAN = "192.0.2.7"
NEIGHBOUR = "192.0.2.99"
SEEN_FROM = b"x-seen-from"  # of the tests alone: another address for a second client of the same server
PASSWORD = "nine wet cones"  # of no account but those of the tests


def lan_app(folder: Path, kinds: Mapping[str, JobKind] = KINDS, **settings: object) -> FastAPI:
    """The product as `serve --host 0.0.0.0` makes it; its work is a stand-in's."""
    return create_app(Settings(data_folder=folder, host="0.0.0.0", **settings), dict(kinds))  # type: ignore[arg-type]


@contextmanager
def client_from(app: ASGIApp, address: str = NEIGHBOUR, host: str = LAN) -> Iterator[httpx.Client]:
    """A client at an address that reaches the server by a name; its own page's Origin goes with it."""

    async def seen_from_there(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            seen = dict(scope["headers"]).get(SEEN_FROM, address.encode()).decode()
            scope = {**scope, "client": (seen, 50_000), "server": (LAN, 80)}
        await app(scope, receive, send)

    headers = {"Host": host, "Origin": f"http://{host}"}
    with served(seen_from_there) as url, httpx.Client(base_url=url, headers=headers, timeout=30) as client:
        yield client


@contextmanager
def other_device(client: httpx.Client, address: str = "192.0.2.55") -> Iterator[httpx.Client]:
    """Another device at the same server."""
    headers = {**client.headers, SEEN_FROM.decode(): address}
    with httpx.Client(base_url=client.base_url, headers=headers, timeout=30) as other:
        yield other


def make_account(app: FastAPI, role: str, name: str = "") -> Account:
    """An account by the way that a person goes."""
    with app.state.archive.database.writing() as session:
        code = invite(session, role).code
        account = accept(session, code, name or role.title(), PASSWORD, PASSWORD)
        session.flush()
        session.expunge(account)
        return account


def sign_in(client: httpx.Client, name: str, password: str = PASSWORD, back: str = "/") -> httpx.Response:
    """Sign in on a client, which keeps the mark."""
    return client.post("/sign-in", data={"name": name, "password": password, "back": back})
