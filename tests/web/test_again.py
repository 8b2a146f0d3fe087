"""Results fitted again as then through the pages and the JSON interface."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import pytest

from server.app import create_app
from server.settings import Settings
from tests.results.fake_again import AGAIN_KINDS
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, client_of, keep_made_up
from tests.web.test_long_work import ANA, ended, job_id_of


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Two days with a result each; fitted again, the second gives other numbers."""
    folder = tmp_path_factory.mktemp("again")
    app = create_app(Settings(data_folder=folder / "data"), {**KINDS, **AGAIN_KINDS})
    with client_of(app) as client:
        for name in ("stays", "moves"):
            made = made_up_day_result("AB")
            result = dataclasses.replace(made, name="moves") if name == "moves" else made
            keep_made_up(app.state.archive, result, folder / name, name, SMALL_DAY.replace("Long apron", name))
        yield Site(app, client, folder / "data")


def test_one_result(site: Site) -> None:
    client = site.client
    assert 'action="/days/1/results/1/again"' in client.get("/days/1/result/inputs").text
    job = ended(client, job_id_of(client.post("/days/1/results/1/again", headers=ANA)))
    assert (job["state"], job["label"]) == ("done", "stays: result 1 fitted again as then"), job
    address = client.get(f"/jobs/{job['id']}").headers["location"]
    page = client.get(address).text
    assert "Result 1 of stays, fitted again from what was kept with it: the same numbers to the last printed" in page
    assert "options and seed" in page  # a result that is older than the writing down of options
    told = client.get(f"/api{address}").json()
    assert (told["report"]["outcome"], told["who"], told["result_id"]) == ("same", "Ana", 1)
    assert f'href="{address}">What the last time gave' in client.get("/days/1/results/1").text
    assert len(client.get("/api/days/1/results").json()) == 1


def test_a_season_of_results(site: Site) -> None:
    client = site.client
    job = ended(client, job_id_of(client.post("/again", data={"year": "", "car": ""}, headers=ANA)))
    address = client.get(f"/jobs/{job['id']}").headers["location"]
    page = client.get(address).text
    assert "2 results fitted again as then: 1 gave the same numbers to the last printed digit, moves did not." in page
    assert "most of all setup B, SCx: 1.380 ± 0.041 m² then, 1.430 ± 0.041 m² now (+3.6 %, 2.4 u)." in page
    told = client.get(f"/api{address}").json()
    assert [one["report"]["outcome"] for one in told["results"]] == ["differs", "same"]
    assert client.get(f"/history/{told['number']}").status_code == 200


def test_what_is_not_there(site: Site) -> None:
    for address in ("/days/1/again/1", "/again/1", "/api/days/2/again/99", "/api/again/99"):
        assert site.client.get(address).status_code == 404
    assert site.client.post("/days/1/results/2/again").status_code == 404
    answer = site.client.post("/again", data={"year": "1999"})
    assert answer.status_code == 422
    assert "nothing to fit again" in answer.text
