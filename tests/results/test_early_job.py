"""The early estimate stands on the page while the fit runs, made beside it; a memory that is damaged does no harm."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.analysis.result import DayResult
from server.app import create_app
from server.archive.jobs import JobKind
from server.days.job_view import EARLY
from server.days.revisions import known_noise_file
from server.days.service import EARLY_JOB, FIT_JOB, REFIT_JOB
from server.locations import sample_day_folders
from server.results.early_job import hand_over, known_of
from server.results.early_setups import early_setups
from server.results.fit_job import fit_work, keep_refitted
from server.settings import Settings
from tests.results.fake_early import END, slow_fit, told
from tests.web.conftest import Site
from tests.web.day_site import keep
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, wait_for


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    early = JobKind(told, hand_over, ahead=True)
    kinds = {FIT_JOB: KINDS[FIT_JOB], REFIT_JOB: JobKind(slow_fit, keep_refitted), EARLY_JOB: early}
    app = create_app(Settings(data_folder=tmp_path / "data"), kinds)
    with client_of(app) as client:
        keep(app.state.archive, tmp_path / "day")
        known_noise_file(app.state.archive, 1).write_text("{}")
        yield Site(app, client, tmp_path / "data")


def test_it_stands_there_while_the_fit_runs_and_goes_with_its_end(site: Site) -> None:
    for driver in ("75", "76"):  # the second one's fit waits behind the first one's
        form = {"setup": "A", "start": "09:20:00", "driver": driver, "coasting": "neutral"}
        assert site.client.post("/days/1/change/run.1", data=form).status_code == 303
        wait_for(lambda: any(job["state"] == "running" for job in fits(site)), 60)  # one that waits gives way
    shown = wait_for(lambda: page if 'class="early"' in (page := page_of(site)) else "", 60)
    assert "SCx 1.384 ± 0.043 m²; balance 42.0 ± 2.1 % front, from 7 coast-downs" in shown
    assert site.client.get("/api/days/1/results").json()[0]["revision_id"] == 1, "it is no result"
    (site.folder / END).touch()
    wait_for(lambda: len(site.client.get("/api/days/1/results").json()) == 3, 60)
    assert 'class="early"' not in page_of(site)


def fits(site: Site) -> list[dict[str, str]]:
    """The jobs that fit."""
    return [job for job in site.client.get("/api/jobs").json() if job["kind"] == REFIT_JOB]


def page_of(site: Site) -> str:
    return site.client.get("/days/1").text


@pytest.mark.parametrize("memory", ["", "{", "[]", '{"version": "0"}', '{"version": 1, "draws": 3}'])
def test_a_memory_that_cannot_be_read_is_none(tmp_path: Path, memory: str) -> None:
    (tmp_path / "known.json").write_text(memory)
    assert known_of(tmp_path / "known.json") is None


@pytest.mark.parametrize("known", [False, True])
def test_a_first_fit_shows_its_early_estimate_on_the_way(
    known: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result = made_up_day_result("AB")
    said: list[tuple[object, ...]] = []

    def fit_day(*_: object, rough: Callable[..., None] | None, **__: object) -> DayResult:
        if rough is not None:
            rough("the day made ready", "half solved")
        return result

    monkeypatch.setattr("server.analysis.day_fit.fit_day", fit_day)
    monkeypatch.setattr("server.analysis.early_fit.early_of_fit", lambda *_: result)
    folder = next(one for one in sample_day_folders() if "shakedown" in one.name)
    payload = {"scratch": str(tmp_path), "folder": str(folder), "known_noise": known}
    fit_work(payload, lambda *one: said.append(one))
    shown = [one[2] for one in said if len(one) > 2]
    assert shown == ([] if known else [{EARLY: early_setups(result)}])
    assert [one["name"] for one in early_setups(result)] == ["A", "B"]
