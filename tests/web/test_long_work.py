"""Long work through the pages and the JSON interface: started, watched, called off, its outcome read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from server.app import create_app
from server.days.service import REFIT_JOB, IncomingDay, keep_day
from server.history.verify_job import VERIFY_KINDS
from server.results.fit_job import REFIT_DAY
from server.settings import Settings
from tests.results.fake_long import LONG_KINDS
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, client_of, keep_made_up, wait_for

ALL_KINDS = {**KINDS, **LONG_KINDS, **VERIFY_KINDS}
ANA = {"X-Stillair-Who": "Ana"}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """Two days with a result each."""
    app = create_app(Settings(data_folder=tmp_path / "data"), ALL_KINDS)
    with client_of(app) as client:
        for name in ("one", "two"):
            toml = SMALL_DAY.replace("Long apron", name)
            keep_made_up(app.state.archive, made_up_day_result("AB"), tmp_path / name, name, toml)
        yield Site(app, client, tmp_path / "data")


def job_id_of(answer: httpx.Response) -> str:
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].rpartition("/")[2]


def ended(client: httpx.Client, job_id: str) -> dict[str, Any]:
    found = wait_for(lambda: (job := client.get(f"/api/jobs/{job_id}").json())["finished_at"] and job)
    assert isinstance(found, dict)
    return found


def test_a_season_is_fitted_again_and_told(site: Site) -> None:
    job_id = job_id_of(site.client.post("/refits"))
    job = ended(site.client, job_id)
    assert (job["state"], job["lane"], job["label"]) == ("done", "long", "2 days fitted again (all days)"), job
    answer = site.client.get(f"/jobs/{job_id}")
    assert answer.status_code == 303
    page = site.client.get(answer.headers["location"]).text
    assert "2 days fitted again: something moved on 2, most of all drag area SCx of setup B" in page
    assert "(+3.6 %)" in page
    work = site.client.get("/jobs").text
    assert f'href="{answer.headers["location"]}">what moved</a>' in work
    told = site.client.get(f"/api{answer.headers['location']}").json()
    assert [day["state"] for day in told["days"]] == ["kept", "kept"]
    status = site.client.get(f"/jobs/{job_id}/status")
    assert status.headers["hx-redirect"] == answer.headers["location"]


def test_a_season_can_be_called_off_and_leaves_nothing(site: Site, tmp_path: Path) -> None:
    keep_endless(site, tmp_path)
    before = site.client.get("/api/events/head").json()
    job_id = job_id_of(site.client.post("/refits"))
    wait_for(lambda: "endless: fitting" in site.client.get(f"/jobs/{job_id}").text)
    assert "Call off" in site.client.get(f"/jobs/{job_id}").text
    site.client.post(f"/jobs/{job_id}/cancel")
    assert ended(site.client, job_id)["state"] == "cancelled"
    assert "called off. Nothing of it was kept." in site.client.get(f"/jobs/{job_id}").text
    wait_for(lambda: not (site.folder / "incoming" / job_id).exists())
    assert site.client.get("/api/events/head").json() == before
    assert len(site.client.get("/api/days/1/results").json()) == 1


def keep_endless(site: Site, tmp_path: Path) -> None:
    folder = tmp_path / "endless"
    folder.mkdir()
    (folder / "testday.toml").write_text(SMALL_DAY.replace("Long apron", "endless"))
    with site.app.state.archive.database.writing() as session:
        keep_day(site.app.state.archive, session, IncomingDay("endless", None, folder, "endless"))


def test_what_cannot_be_a_season_is_refused(site: Site) -> None:
    answer = site.client.post("/refits", data={"year": "1999"})
    assert (answer.status_code, "nothing to fit again" in answer.text) == (422, True)
    assert site.client.get("/refits/1").status_code == 404


def test_a_study_is_made_and_shown_beside_the_result(site: Site) -> None:
    assert "Here will stand how many" in site.client.get("/days/1/result/study").text
    job_id = job_id_of(site.client.post("/days/1/study", data={"days": "40"}))
    job = ended(site.client, job_id)
    assert (job["state"], job["label"]) == ("done", "study of 40 days like one"), job
    there = site.client.get(f"/jobs/{job_id}").headers["location"]
    assert there.startswith("/days/1/studies/")
    sentence = "On 40 made-up days like this one, "
    for path in (there, "/days/1/result", "/days/1/result/study"):
        assert sentence in site.client.get(path).text, path
    told = site.client.get("/api/days/1/studies").json()
    assert [one["study"]["days"] for one in told] == [40]
    assert told[0] == site.client.get(f"/api{there}").json()
    assert site.client.get(f"/api/files/{told[0]['sha256']}").json() == told[0]["study"]
    assert site.client.get(there.replace("/days/1/", "/days/2/")).status_code == 404
    assert "earlier result" not in site.client.get("/days/1/result/study").text


@pytest.mark.parametrize("days", ["0", "5001", "x", ""])
def test_a_study_of_no_sensible_number_is_refused(site: Site, days: str) -> None:
    assert site.client.post("/days/1/study", data={"days": days}).status_code in (422, 303)
    assert site.client.post("/days/9/study").status_code == 404


def test_a_study_called_off_is_let_go(site: Site) -> None:
    job_id = job_id_of(site.client.post("/days/1/study", data={"days": "5000"}))
    wait_for(lambda: "of 5,000 days" in site.client.get(f"/jobs/{job_id}").text)
    assert "One is on its way" in site.client.get("/days/1/result/study").text
    site.client.post(f"/jobs/{job_id}/cancel")
    assert ended(site.client, job_id)["state"] == "cancelled"
    assert site.client.get("/api/days/1/studies").json() == []


def test_the_archive_is_checked(site: Site) -> None:
    job_id = job_id_of(site.client.post("/verified"))
    assert ended(site.client, job_id)["state"] == "done"
    there = site.client.get(f"/jobs/{job_id}").headers["location"]
    assert "Everything in the archive is as it was kept: 2 days" in site.client.get(there).text
    file = next(file for file in (site.folder / "raw").rglob("*") if file.is_file())
    file.chmod(0o644)
    file.write_bytes(b"altered")
    sent = site.client.post("/api/verify", json={}, headers=ANA)
    target = ended(site.client, sent.json()["job_id"])["target"]
    report = site.client.get(f"/api/verify/{target}").json()
    assert any(file.name in fault for fault in report["faults"])
    assert (report["who"], report["head"]["id"] > 0) == ("Ana", True)
    assert "not as kept" in site.client.get(f"/verified/{target}").text


def test_a_day_is_fitted_again(site: Site) -> None:
    """The job that is queued is that of any change; what it does is under test with the real fit."""
    assert REFIT_DAY.work.__name__ == "refit_work"
    job_id = job_id_of(site.client.post("/days/1/fit"))
    job = site.client.get(f"/api/jobs/{job_id}").json()
    assert (job["kind"], job["lane"], job["label"], job["day_id"]) == (REFIT_JOB, "quick", "one, fitted again", 1)
    assert site.client.post("/days/9/fit").status_code == 404
    assert "Fit this day again" in site.client.get("/days/1/result/inputs").text


def test_a_program_starts_the_same(site: Site) -> None:
    fit = site.client.post("/api/days/1/fit", json={}, headers=ANA)
    assert fit.status_code == 202
    study = site.client.post("/api/days/1/studies", json={"days": 3}, headers=ANA)
    refit = site.client.post("/api/refits", json={}, headers=ANA)
    for answer in (study, refit):
        assert ended(site.client, answer.json()["job_id"])["state"] == "done"
    assert site.client.post("/api/refits", json={"year": "2026"}, headers=ANA).status_code == 422
    assert site.client.post("/api/refits", json={"year": 1999}, headers=ANA).status_code == 422
    assert site.client.post("/api/days/1/studies", json={"days": 0}, headers=ANA).status_code == 422
