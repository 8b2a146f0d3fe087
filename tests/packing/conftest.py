"""A season of two days that holds all a season can, its zip, and an empty archive."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.app import create_app
from server.archive.archive import Archive
from server.days.changes import Change, change_run
from server.days.revisions import revise_day
from server.days.service import newest_revision
from server.packing.bring_job import UNPACK_KINDS
from server.results.service import keep_result, write_result
from server.settings import Settings
from server.testday.values import Day
from tests.analysis.correlated_days import measured_day
from tests.correlation.measured_sites import AREAS, CAR, keep_measured, usual_cases
from tests.packing.zips import STATEMENT
from tests.tufts.tuft_site import KINDS, entry, mark, photo
from tests.web.conftest import Site
from tests.web.serving import client_of

ANA = {"X-Stillair-Who": "Ana"}
TAPS = "setup,tap,cp,u\nA,F2,-0.9,0.02\n"


@pytest.fixture(scope="package")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Two days of a car in two years, with all that a season can hold."""
    folder = tmp_path_factory.mktemp("season")
    app = create_app(Settings(data_folder=folder / "data"), {**KINDS, **UNPACK_KINDS})
    with client_of(app) as client:
        client.cookies.set("who", "Ana")
        made, archive = Site(app, client, folder / "data"), app.state.archive
        result = measured_day(AREAS, rel_u=0.012)[1]
        keep_measured(archive, result, folder / "days", usual_cases())
        again = [dataclasses.replace(one, source="meshed anew") for one in usual_cases() if one.setup in "AB"]
        keep_measured(archive, result, folder / "more", again, name="Second: wet", date="2025-06-20")
        fill(made, folder)
        yield made


def remarked(day: Day) -> Change:
    """A change that no fit sees."""
    return dataclasses.replace(change_run(day, 1, notes="a gust at the end"), kind="run-remarked")


def fill(site: Site, folder: Path) -> None:
    client, archive = site.client, site.app.state.archive
    first, second = photo(site), photo(site, "two.jpg", 5)
    key = entry(30.0, 20.0, direction_rad=0.4, condition="attached")
    mark(site, first, key)
    mark(site, first, {**entry(31.0, 21.0, direction_rad=0.5), "mark": key["mark"]}, reader="Bo")
    assert client.post(f"/api/days/1/photos/{second}", json={"notes": "out of focus"}).status_code == 200
    sent = {"car": CAR, "setup": "C", "quantity": "SCx", "stance": "doubted", "text": "Look again."}
    note = client.post("/api/correlation/decisions", json=sent, headers=ANA).json()
    later = sent | {"stance": "explained", "text": "The mesh.", "supersedes": note["id"]}
    assert client.post("/api/correlation/decisions", json=later, headers=ANA).status_code == 201
    assert client.post("/api/correlation/taps", json={"day_id": 1, "table": TAPS}, headers=ANA).status_code == 201
    margins = {"car": CAR, "total": 0.07, "reason": "a wet year"}
    said = client.post("/api/correlation/margins", json=margins, headers=ANA)
    assert said.status_code in (200, 201), said.text
    said = client.put("/api/predictions/matching", json={"car": CAR, "matches": {"B": "A"}}, headers=ANA)
    assert said.status_code == 200, said.text
    said = client.post("/api/predictions/2/withdraw", json={"reason": "meshed too coarsely"}, headers=ANA)
    assert said.status_code in (200, 201), said.text
    assert client.post("/days/1/sign-off", data={"statement": STATEMENT}, headers=ANA).status_code == 303
    revise_day(archive, 1, remarked, who="Ana", reason="asked the driver")
    client.post("/days/1/sign-off/amend", data={"reason": "The scales were wrong."}, headers=ANA)
    write_result(dataclasses.replace(measured_day(AREAS, rel_u=0.02)[1], version="0.0.9"), folder / "old.zip")
    with archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, 2), folder / "old.zip", who="Bo")


@pytest.fixture(scope="package")
def season(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The zip of all of it, as the page sends it."""
    answer = site.client.get("/season/packed.zip")
    assert answer.headers["content-type"] == "application/zip", answer.text
    file = tmp_path_factory.mktemp("packed") / "season.zip"
    file.write_bytes(answer.content)
    assert not list((site.folder / "scratch").glob("packing-*"))
    return file


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Archive]:
    archive = Archive(tmp_path / "new")
    archive.open()
    yield archive
    archive.close()
