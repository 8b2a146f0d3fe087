"""Every route asked with what no page would ask for: no mistake of the program, nothing of the disk, no header of
the asker's, no way to another site, no script."""

from __future__ import annotations

import re
from collections.abc import Iterator
from urllib.parse import quote

import httpx
import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from server.figures.table import Table
from tests.web.conftest import Site

SCRIPT = "'\"><script>alert(1)</script>"
PARTS = (
    "..%2f..%2farchive.sqlite3", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", "..%5cjoin.key", "%00", "a%0d%0aX-Evil:1", "%ff%fe",
    quote(SCRIPT), "-1", "0", "99999999999999999999", "nan", quote("\u202e"), "." * 300, "%25s", "=1+1",
)  # fmt: skip
UNASKED = ("page", "back")  # of every route, whether it knows them or not
VALUES = ("-1", "%00", "%ff", "nan", "1e999", "x" * 300, quote(SCRIPT), "9" * 20, "//evil.example", "%0d%0aX-Evil:1")
SECRETS = (b"SQLite format 3", b"root:", b"Traceback")


def routes_of(app: FastAPI) -> list[APIRoute]:
    def below(routes: list[object]) -> Iterator[APIRoute]:
        for route in routes:
            inner = getattr(route, "original_router", None)
            if inner is not None:
                yield from below(inner.routes)
            elif isinstance(route, APIRoute):
                yield route

    found = list(below(list(app.routes)))
    assert len(found) > 60
    return found


def questions_of(asked_by: Dependant) -> Iterator[str]:
    """The names that a route knows in its address, by itself or by what it depends on."""
    yield from (one.alias for one in asked_by.query_params)
    for other in asked_by.dependencies:
        yield from questions_of(other)


def wrong(answer: httpx.Response) -> bool:
    there = answer.headers.get("location", "") + answer.headers.get("hx-redirect", "")
    data = answer.headers.get("content-type", "") == "application/json"  # which no browser runs: nosniff stands below
    return (
        answer.status_code >= 500
        or any(secret in answer.content for secret in SECRETS)
        or (b"<script>alert" in answer.content and not data)
        or answer.headers.get("x-content-type-options") != "nosniff"
        or "x-evil" in answer.headers
        or there.startswith(("//", "http://evil", "https:"))
        or "evil.example" in there.partition("?")[0]
    )


def asked(client: httpx.Client, method: str, path: str) -> str:
    """The request when its answer is not as it should be."""
    try:
        answer = client.request(method, path)
    except httpx.ReadError:  # a server that made a mistake closes; the request before is in the list
        return ""
    return f"{method} {path[:120]}: {answer.status_code}" if wrong(answer) else ""


def test_parts_of_addresses(shown: Site) -> None:
    found = []
    for route in routes_of(shown.app):
        names = re.findall(r"{(\w+)", route.path)
        for name in names:
            for part in PARTS:
                given = {one: {"day_id": "1", "number": "1"}.get(one, "x") for one in names} | {name: part}
                path = re.sub(r"{(\w+)[^}]*}", lambda each, given=given: given[each[1]], route.path)
                found += [asked(shown.client, method, path) for method in sorted(route.methods & {"GET", "POST"})]
    assert list(filter(None, found)) == []


def test_questions(shown: Site) -> None:
    plain = [route for route in routes_of(shown.app) if "GET" in route.methods and "{" not in route.path]
    known = {route.path: set(questions_of(route.dependant)) for route in plain}
    assert len(set.union(*known.values())) > 15
    questions = [
        f"{path}?{name}={value}" for path, names in known.items() for name in names.union(UNASKED) for value in VALUES
    ]
    found = [asked(shown.client, "GET", question) for question in questions]
    assert list(filter(None, found)) == []


@pytest.mark.parametrize("path", ["styles/..%2f..%2fserver/app.py", "scripts/%2e%2e/x", "vendor/..\\x"])
def test_files_that_pages_are_made_of_do_not_lead_out(shown: Site, path: str) -> None:
    assert shown.client.get(f"/web/{path}").status_code in (404, 405)


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_a_spreadsheet_runs_nothing_of_an_export(sign: str) -> None:
    """Names of setups stand in cells and in headings. Source: OWASP, CSV injection, from memory."""
    text = f"{sign}1+1"
    head, row = Table((text, "x"), ((text, -1.5),)).to_csv().split("\r\n", 1)
    assert head.strip('"').startswith("'")
    assert row.strip('"').startswith("'")
    assert row.rstrip().endswith(",-1.5")


def test_marks_that_devices_keep(site: Site) -> None:
    """No script reads who is at the screen; no other site sends either along with a write."""
    cookies = [
        site.client.post("/who", data={"who": "Ada"}).headers["set-cookie"],
        site.client.post("/theme", data={"theme": "dark"}).headers["set-cookie"],
    ]
    assert "httponly" in cookies[0].lower()
    assert all("samesite=lax" in cookie.lower() for cookie in cookies)
