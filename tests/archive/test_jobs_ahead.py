"""The process that goes ahead is got ready while nothing is asked for, also when something was asked at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from server.archive import jobs
from server.archive.archive import Archive
from server.archive.jobs import JobKind, JobRunner, add_job, find_job
from server.archive.worker import Payload, Progress
from tests.archive.test_jobs import keep_name
from tests.web.serving import wait_for

PLACE = "STILLAIR_TEST_PLACE"


def ready(_: Payload, __: Progress) -> Payload:
    with (Path(os.environ[PLACE]) / "ready").open("a") as file:
        file.write(f"{os.getpid()}\n")
    return {}


def name_process(payload: Payload, _: Progress) -> Payload:
    return {"name": f"{payload['name']} {os.getpid()}"}


def test_it_is_got_ready_once_for_each_process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "WARM_AFTER_S", 0.2)
    monkeypatch.setenv(PLACE, str(tmp_path))
    archive = Archive(tmp_path / "data")
    archive.open()
    runner = JobRunner(archive, {"name": JobKind(name_process, keep_name, ahead=True, warm=ready)})
    runner.start()
    first = _done(archive, runner, "first")  # asked for before it is ready
    noted = tmp_path / "ready"
    wait_for(lambda: noted.exists() and noted.read_text())
    assert _done(archive, runner, "second").split()[1] == first.split()[1] == noted.read_text().strip()
    runner.stop()
    archive.close()


def _done(archive: Archive, runner: JobRunner, name: str) -> str:
    with archive.database.writing() as session:
        add_job(session, "name", name, {"name": name}, name)
    runner.wake()

    def target() -> str | None:
        with archive.database.reading() as session:
            return find_job(session, name).target

    return str(wait_for(target))
