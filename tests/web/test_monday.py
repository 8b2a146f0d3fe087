"""Monday's correction end to end, with the product's own reading and fit: the mass was wrong by one kilogram."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import httpx
import pytest
from fastapi import FastAPI

from server.app import create_app
from server.archive.events import chain_faults
from server.archive.jobs import JobRunner
from server.days.service import list_revisions
from server.locations import sample_day_folders
from server.results.fit_job import queue_folder
from server.results.service import results_of
from server.settings import Settings
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up, wait_for

FIT_S = 240
SHAKEDOWN = next((folder for folder in sample_day_folders() if "shakedown" in folder.name), None)
MASS_KG, DRIVER_KG = 236.0, 71.5
pytestmark = pytest.mark.skipif(SHAKEDOWN is None, reason="the sample days are not there")


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    return create_app(Settings(data_folder=tmp_path_factory.mktemp("data")))


@pytest.fixture(scope="module")
def client(app: FastAPI, tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    assert SHAKEDOWN is not None
    with client_of(app) as made:
        assert queue_folder(app.state.archive, SHAKEDOWN)
        runner: JobRunner = app.state.jobs
        runner.wake()
        wait_for(lambda: made.get("/api/days/1/result").status_code == 200, FIT_S)
        keep_made_up(app.state.archive, made_up_day_result("AB"), tmp_path_factory.mktemp("other"), "Another car's day")
        yield made


def scx(client: httpx.Client) -> float:
    [setup] = client.get("/api/days/1/result").json()["setups"]
    return setup["estimates"]["SCx"]["value"]


def test_one_kilogram_more(client: httpx.Client, app: FastAPI) -> None:
    before, other, old_page = scx(client), client.get("/api/days/2/result").json(), client.get("/days/1/result").text
    stored = client.get("/api/days/1/results").json()
    client.cookies.set("who", "Ada")
    form = {"revision": "1", "value": "237", "value_source": "measured", "reason": "scales were off by 1 kg"}
    assert client.post("/days/1/car/mass_kg", data=form).status_code == 303
    assert "a new one is on the way" in client.get("/days/1/car").text
    wait_for(lambda: len(client.get("/api/days/1/results").json()) == 2, FIT_S)

    # Every force that the car's own deceleration tells goes with the mass that coasts, and so does rolling resistance:
    # dSCx / SCx = dm / m. The wheels' inertia (5 % of the mass) and the driveline's drag do not: a tenth is allowed.
    moved = scx(client) / before - 1.0
    assert moved == pytest.approx(1.0 / (MASS_KG + DRIVER_KG), rel=0.1)

    page = unescape(client.get("/days/1/result").text)
    assert "By “mass: 236.00 ± 0.98 kg → 237.00 ± 0.98 kg” (Ada)" in page
    assert "Superseded, not overwritten" in page
    line = re.search(r"Drag area SCx of setup A went from (.*?) to (.*?) \((.*?) %\)", page)
    assert line is not None
    assert float(line[3]) == pytest.approx(100 * moved, rel=0.02)
    assert f'SCx <b class="figure-value">{line[1]}</b>' in unescape(old_page)

    newest, oldest = client.get("/api/days/1/results").json()
    assert oldest == stored[0]  # superseded, not overwritten: the same row, file and summary
    old = unescape(client.get(f"/days/1/results/{oldest['id']}").text)
    assert f'SCx <b class="figure-value">{line[1]}</b>' in old
    assert oldest["sha256"] in old
    assert newest["moved"][0]["before"] == before

    assert client.get("/api/days/2/result").json() == other  # to the last digit
    archive = app.state.archive
    with archive.database.reading() as session:
        assert [one.number for one in list_revisions(session, 1)] == [2, 1]
        assert [one.number for one in list_revisions(session, 2)] == [1]
        assert len(results_of(session, 2)) == 1
        assert not list(chain_faults(session))
    events = client.get("/api/events").json()
    events = events["events"] if isinstance(events, dict) else events
    changed = next(one for one in events if one["kind"] == "car-changed")
    assert (changed["who"], changed["reason"]) == ("Ada", "scales were off by 1 kg")
    taken_back_the_numbers_are_those_of_before_to_the_last_digit(client)


def taken_back_the_numbers_are_those_of_before_to_the_last_digit(client: httpx.Client) -> None:
    results = client.get("/api/days/1/results").json()
    first = results[-1]["summary"]
    form = {"revision": "2", "value": "236", "reason": "the scales were right after all"}
    assert client.post("/days/1/car/mass_kg", data=form).status_code == 303
    wait_for(lambda: len(client.get("/api/days/1/results").json()) == len(results) + 1, FIT_S)
    assert client.get("/api/days/1/results").json()[0]["summary"] == first
