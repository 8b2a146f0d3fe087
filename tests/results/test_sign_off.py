"""A day signed off: frozen with a statement, changed for a reason alone, and shown as amended."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from server.app import create_app
from server.archive.archive import Archive
from server.days.service import newest_revision
from server.days.sign_off import sign_off_of
from server.history.verify import faults
from server.results.service import keep_result, write_result
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.lan import client_from, lan_app, make_account, sign_in
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up

STATEMENT = "Calm morning, four pairs each: good enough to choose the flap by."
ANA = {"X-Stillair-Who": "Ana"}


@pytest.fixture
def app(tmp_path: Path) -> FastAPI:
    return create_app(Settings(data_folder=tmp_path / "data"), KINDS)


@pytest.fixture
def client(app: FastAPI, tmp_path: Path) -> Iterator[httpx.Client]:
    """An archive with one fitted day; Ana is at the screen."""
    with client_of(app) as client:
        keep_made_up(app.state.archive, made_up_day_result("AB"), tmp_path / "one")
        client.post("/who", data={"name": "Ana"})
        yield client


def signed(client: httpx.Client) -> None:
    assert client.post("/days/1/sign-off", data={"statement": STATEMENT}).status_code == 303


def changed(client: httpx.Client, mass: float, reason: str = "") -> httpx.Response:
    return client.patch("/api/days/1/car/mass_kg", json={"fields": {"value": mass}, "reason": reason}, headers=ANA)


def test_a_signature_stands_for_a_revision_and_a_result(app: FastAPI, client: httpx.Client) -> None:
    assert "not signed off: read its result" in client.get("/days/1/sign-off").text
    signed(client)
    page = client.get("/days/1/sign-off").text
    assert "Ana signed this day off" in page
    assert STATEMENT in page
    assert "Sign the day off" not in page
    with app.state.archive.database.reading() as session:
        standing = sign_off_of(session, 1)
    assert standing is not None
    assert (standing.revision, standing.result, standing.who) == (1, 1, "Ana")
    assert standing.result_sha256 in page


def test_a_result_that_came_meanwhile_is_read_before_it_is_signed(
    app: FastAPI, client: httpx.Client, tmp_path: Path
) -> None:
    form = {"statement": STATEMENT, "seen": "1"}
    assert 'name="seen" value="1"' in client.get("/days/1/sign-off").text
    archive: Archive = app.state.archive
    write_result(dataclasses.replace(made_up_day_result("AB"), version="0.0.9"), tmp_path / "again.zip")
    with archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, 1), tmp_path / "again.zip", who="Bo")
    refused = client.post("/days/1/sign-off", data=form)
    assert refused.status_code == 422
    assert "Result 2 came in while result 1 was read" in refused.text
    assert f">{STATEMENT}</textarea>" in refused.text
    assert client.post("/days/1/sign-off", data=form | {"seen": "2"}).status_code == 303


def test_a_signed_day_changes_for_a_reason_alone(client: httpx.Client) -> None:
    assert changed(client, 237.0).status_code == 200
    client.post("/days/1/sign-off", data={"statement": STATEMENT})
    assert "is not fitted yet" in client.post("/days/1/sign-off", data={"statement": STATEMENT}).text


def test_changes_after_it_are_amendments(client: httpx.Client) -> None:
    signed(client)
    refused = changed(client, 238.0)
    assert refused.status_code == 422
    assert "Ana signed this day off" in refused.json()["error"]
    form = client.post("/days/1/car/mass_kg", data={"revision": "1", "value": "238", "do": "keep"})
    assert "Give a reason for the change" in form.text
    assert changed(client, 238.0, "the scales were read wrong").status_code == 200
    page = client.get("/days/1/sign-off").text
    assert "it was changed 1 time since" in page
    assert "the scales were read wrong" in page


def test_an_amendment_opens_the_day_until_it_is_signed_again(client: httpx.Client) -> None:
    signed(client)
    assert "why the day is opened again" in client.post("/days/1/sign-off/amend", data={"reason": "x"}).text
    assert client.post("/days/1/sign-off/amend", data={"reason": "new weighing of the car"}).status_code == 303
    for mass in (238.0, 239.0):
        assert changed(client, mass).status_code == 200
    page = client.get("/days/1/sign-off").text
    assert "it was changed 2 times since" in page
    assert page.count("new weighing of the car") == 3
    events = client.get("/api/events").json()["events"]
    assert [one["reason"] for one in events if one["kind"] == "car-changed"][-2:] == ["new weighing of the car"] * 2


@pytest.mark.parametrize("statement", ["", "  ", "ok"])
def test_a_signature_says_something(client: httpx.Client, statement: str) -> None:
    answer = client.post("/days/1/sign-off", data={"statement": statement})
    assert (answer.status_code, "Say in a sentence what is signed" in answer.text) == (422, True)


def test_a_signature_has_a_name_and_a_day(client: httpx.Client) -> None:
    client.post("/who", data={"name": ""})
    client.cookies.clear()
    assert "A signature has a name" in client.post("/days/1/sign-off", data={"statement": STATEMENT}).text
    assert client.post("/days/9/sign-off", data={"statement": STATEMENT}).status_code == 404
    assert "is not signed off" in client.post("/days/1/sign-off/amend", data={"reason": "because of it"}).text


def test_a_lead_signs_and_an_engineer_does_not(tmp_path: Path) -> None:
    app = lan_app(tmp_path / "data")
    with client_from(app) as client:
        keep_made_up(app.state.archive, made_up_day_result("AB"), tmp_path / "one")
        make_account(app, "engineer", "Bo")
        make_account(app, "lead", "Cy")
        sign_in(client, "Bo")
        assert client.post("/days/1/sign-off", data={"statement": STATEMENT}).status_code == 403
        client.post("/sign-out")
        sign_in(client, "Cy")
        signed(client)
        assert "Cy signed this day off" in client.get("/days/1/sign-off").text


def test_the_archive_stays_as_it_was_kept(app: FastAPI, client: httpx.Client) -> None:
    signed(client)
    changed(client, 238.0, "the scales were read wrong")
    assert list(faults(app.state.archive, lambda *_: None)) == []
