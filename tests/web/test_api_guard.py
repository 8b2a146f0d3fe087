"""Which writes a program may send: no page of another site can send them too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.web.conftest import Site
from tests.web.lan import NEIGHBOUR, client_from, lan_app

CANCEL = "/api/jobs/nothing/cancel"  # a write that needs nothing to be there: 404 once it is let in
JSON = {"Content-Type": "application/json"}
ANA = {"X-Stillair-Who": "Ana"}
SIMPLE_TYPES = ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x")


@pytest.fixture
def program(site: Site) -> Iterator[httpx.Client]:
    """A program: it sends no Origin."""
    with httpx.Client(base_url=site.client.base_url) as client:
        yield client


def test_a_program_that_says_who_it_is_may_write(program: httpx.Client) -> None:
    answer = program.post(CANCEL, content="{}", headers={**JSON, **ANA})
    assert (answer.status_code, answer.json()) == (404, {"error": "No work goes by that address."})


@pytest.mark.parametrize("headers", [{}, JSON, ANA, {**JSON, "X-Stillair-Who": ""}])
def test_who_and_type_are_both_needed(program: httpx.Client, headers: dict[str, str]) -> None:
    assert program.post(CANCEL, content="{}", headers=headers).status_code == 403


@pytest.mark.parametrize("kind", SIMPLE_TYPES)
def test_a_type_that_a_form_can_send_is_refused(program: httpx.Client, kind: str) -> None:
    """WHATWG fetch, CORS-safelisted request-header: these three go out without a preflight."""
    assert program.post(CANCEL, content='{"a":"=b"}', headers={"Content-Type": kind, **ANA}).status_code == 403


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "", "http://127.0.0.1:1"])
@pytest.mark.parametrize("header", ["Origin", "Referer"])
def test_another_page_is_refused_whatever_it_sends(program: httpx.Client, header: str, origin: str) -> None:
    if header == "Referer" and not origin:
        return  # an empty Referer is none
    assert program.post(CANCEL, content="{}", headers={**JSON, **ANA, header: origin}).status_code == 403


def test_no_other_page_is_told_yes_when_its_browser_asks_first(program: httpx.Client) -> None:
    asks = {
        "Origin": "http://elsewhere.example",
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "content-type,x-stillair-who",
    }
    for path in (CANCEL, "/api/days", "/uploads"):
        answer = program.options(path, headers=asks)
        assert not [name for name in answer.headers if name.lower().startswith("access-control")]


def test_a_host_that_was_led_here_is_refused(program: httpx.Client) -> None:
    """DNS rebinding: the page's origin and the host agree, but the name is not this computer's."""
    for more in ({}, {"Origin": "http://rebound.example"}):
        headers = {**JSON, **ANA, "Host": "rebound.example", **more}
        assert program.post(CANCEL, content="{}", headers=headers).status_code == 421


@pytest.mark.parametrize("path", ["/theme", "/jobs/x/cancel", "/uploads", "/apiary", "/api"])
def test_outside_the_interface_the_origin_is_asked_for(program: httpx.Client, path: str) -> None:
    assert program.post(path, content="{}", headers={**JSON, **ANA}).status_code == 403


def test_a_name_of_any_letters_is_kept(program: httpx.Client, site: Site) -> None:
    tus = {"Tus-Resumable": "1.0.0", "Upload-Length": "0", "Origin": str(site.client.headers["Origin"])}
    program.post("/uploads", headers={**tus, "X-Stillair-Who": "Zo%C3%AB"})
    events = site.client.get("/api/events").json()["events"]
    assert [one["who"] for one in events] == ["Zoë"]


def test_lan_host_names_hold_for_programs_too(tmp_path: Path) -> None:
    with client_from(lan_app(tmp_path), NEIGHBOUR, "rebound.example") as client:
        del client.headers["Origin"]
        assert client.post(CANCEL, content="{}", headers={**JSON, **ANA}).status_code == 421
