"""A season fitted again: one failing day stops no other, a day that has gone on keeps its fit, nothing is half kept."""

from __future__ import annotations

import datetime as dt
import errno
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.archive.jobs import find_job
from server.archive.tables import Job
from server.archive.worker import MISTAKE, Payload
from server.days.changes import change_day
from server.days.revisions import revise_day
from server.days.service import IncomingDay, keep_day, newest_revision
from server.errors import DiskFullError, StillairError
from server.history.verify import faults
from server.results import refit_job
from server.results.refit_job import find_refit, keep_season, queue_season, result_file, season_work
from server.results.refit_view import refit_view
from server.results.service import keep_result, results_of, write_result
from tests.results import fake_long
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY

NAMES = ("first", "unreadable", "second", "mistake")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    """Four days with a result each; two of them cannot be fitted again."""
    monkeypatch.setattr(refit_job, "fit_one", fake_long.fit_one)
    made = Archive(tmp_path / "data")
    made.open()
    write_result(made_up_day_result("AB"), tmp_path / "result.zip")
    for place, name in enumerate(NAMES):
        folder = tmp_path / name
        folder.mkdir()
        dated = SMALL_DAY.replace('name = "Long apron"', f'name = "{name}"\ndate = {2025 + place % 2}-05-09', 1)
        (folder / "testday.toml").write_text(dated)
        with made.database.writing() as session:
            day = keep_day(made, session, IncomingDay(name, dt.date(2025 + place % 2, 5, 9), folder, name))
            keep_result(made, session, newest_revision(session, day.id), tmp_path / "result.zip")
    yield made
    made.close()


def payload_of(archive: Archive, job_id: str) -> Payload:
    with archive.database.reading() as session:
        return dict(find_job(session, job_id).payload)


def done(archive: Archive, payload: Payload) -> int:
    outcome = season_work(payload, lambda _part, _text: None)
    with archive.database.writing() as session:
        return int(keep_season(archive, session, payload, outcome))


def test_one_failing_day_stops_no_other(archive: Archive) -> None:
    number = done(archive, payload_of(archive, queue_season(archive, "Ana")))
    with archive.database.reading() as session:
        kept = find_refit(archive, session, number)
        told = {day["name"]: day for day in kept.days}
        assert {name: day["state"] for name, day in told.items()} == {
            "first": "kept",
            "second": "kept",
            "unreadable": "failed",
            "mistake": "failed",
        }
        assert "line 48,113" in told["unreadable"]["sentence"]
        assert told["mistake"]["sentence"] == MISTAKE
        assert [len(results_of(session, day_id)) for day_id in (1, 2, 3, 4)] == [2, 1, 2, 1]
        view = refit_view(session, kept)
    assert view.sentence.startswith("4 days fitted again: something moved on 2, most of all drag area SCx of setup B")
    assert "(+3.6 %)" in view.sentence  # 0.05 of 1.38 m²
    assert view.sentence.endswith("2 could not be fitted and keep the old result. Look at those first.")
    assert kept.who == "Ana"
    assert list(faults(archive)) == []  # type: ignore[arg-type]  # an open archive has all that is looked at


def test_the_same_result_is_kept_once(archive: Archive) -> None:
    done(archive, payload_of(archive, queue_season(archive, "Ana")))
    number = done(archive, payload_of(archive, queue_season(archive, "Ana")))
    with archive.database.reading() as session:
        kept = find_refit(archive, session, number)
        assert sorted(day["state"] for day in kept.days) == ["failed", "failed", "same", "same"]
        assert "nothing moved in any printed digit" in refit_view(session, kept).sentence
        assert len(results_of(session, 1)) == 2


def test_a_day_that_was_changed_meanwhile_keeps_its_own_fit(archive: Archive) -> None:
    payload = payload_of(archive, queue_season(archive, "Ana"))
    outcome = season_work(payload, lambda _part, _text: None)
    revise_day(archive, 1, lambda day: change_day(day, notes="windy"), who="Bo")
    with archive.database.writing() as session:
        number = int(keep_season(archive, session, payload, outcome))
        told = {day["name"]: day["state"] for day in find_refit(archive, session, number).days}
        assert told["first"] == "changed"
        assert len(results_of(session, 1)) == 1


def test_a_season_goes_on_where_it_was_left(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    payload = payload_of(archive, queue_season(archive, "Ana", year=2025))
    assert [day["name"] for day in payload["days"]] == ["second", "first"]
    fitted: list[str] = []

    def one(folder: Path, target: Path, progress: fake_long.Progress) -> None:
        fitted.append(folder.name)
        if len(fitted) == 2:
            raise KeyboardInterrupt  # the server is stopped in the second day
        fake_long.fit_one(folder, target, progress)

    monkeypatch.setattr(refit_job, "fit_one", one)
    with pytest.raises(KeyboardInterrupt):
        season_work(payload, lambda _part, _text: None)
    said: list[str] = []
    monkeypatch.setattr(refit_job, "fit_one", fake_long.fit_one)
    season_work(payload, lambda _part, text: said.append(text))
    assert [text for text in said if text.startswith("1 of 2")] == []
    assert any(text.startswith("2 of 2 days, first: fitting") for text in said)
    assert all(result_file(Path(payload["scratch"]), day).is_file() for day in payload["days"])


def test_a_full_disk_ends_it_and_keeps_nothing(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(refit_job, "fit_one", full)
    with pytest.raises(DiskFullError):
        season_work(payload_of(archive, queue_season(archive, "Ana")), lambda _part, _text: None)


def test_days_are_chosen_by_year_and_car(archive: Archive) -> None:
    assert len(payload_of(archive, queue_season(archive, "Ana"))["days"]) == 4
    assert len(payload_of(archive, queue_season(archive, "Ana", year=2026))["days"]) == 2
    revise_day(archive, 2, change_car_name, who="Bo")
    assert [d["day_id"] for d in payload_of(archive, queue_season(archive, "Ana", car="Grasshopper"))["days"]] == [2]
    for year, car in ((1999, ""), (None, "Other"), (2025, "Grasshopper")):
        with pytest.raises(StillairError, match="nothing to fit again"):
            queue_season(archive, "Ana", year, car)
    with archive.database.reading() as session:
        labels = {job.label for job in session.query(Job) if job.lane == "long"}
    assert "2 days fitted again (2026)" in labels


def change_car_name(day):  # type: ignore[no-untyped-def]
    from server.days.changes import change_car

    return change_car(day, "name", "Grasshopper")
