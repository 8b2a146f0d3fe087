"""What came of long work and cannot be kept: it waits, says so, can be called off, and outlives a new start."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.disk import FULL_NOW
from server.archive.jobs import JobKind, JobRunner, add_job, cancel_job
from server.archive.outcomes import FILE, WAITS
from server.archive.worker import MISTAKE, Payload, Progress
from server.days.job_view import job_view
from server.errors import NotFoundError, StoreError
from tests.archive.test_jobs import Disk, job_of
from tests.web.serving import wait_for

JOB = "job"


def note_and_give(payload: Payload, _: Progress) -> Payload:
    """Leaves a line each time it is worked out."""
    with (Path(payload["place"]) / "worked").open("a") as file:
        file.write("once\n")
    return {"made": 1}


class Keeper:
    """Keeps an outcome; fails as long as there is an error to raise."""

    def __init__(self, error: Exception | None) -> None:
        self.error, self.tries = error, 0

    def __call__(self, _: Archive, __: Session, ___: Payload, ____: Payload) -> str:
        self.tries += 1
        if self.error is not None:
            raise self.error
        return "7"


def begun(archive: Archive, keeper: Keeper) -> JobRunner:
    runner = JobRunner(archive, {"count": JobKind(note_and_give, keeper)})
    runner.start()
    return runner


def queue(archive: Archive) -> None:
    with archive.database.writing() as session:
        add_job(session, "count", "a count", {"place": str(archive.folder.parent)}, JOB)


def worked(folder: Path) -> int:
    return len((folder / "worked").read_text().splitlines())


def waits(archive: Archive, why: str) -> bool:
    return bool(job_view(job_of(archive, JOB)).text == WAITS.format(why=why))


@pytest.mark.parametrize("error", [
    OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), OSError(errno.EIO, "a bad sector"), StoreError("It is silent."),
])  # fmt: skip
def test_it_is_kept_when_it_can_be_and_worked_out_once(archive: Archive, tmp_path: Path, error: Exception) -> None:
    keeper = Keeper(error)
    runner = begun(archive, keeper)
    queue(archive)
    runner.wake()
    wait_for(lambda: keeper.tries >= 2)
    view = job_view(job_of(archive, JOB))
    assert (view.state, view.percent) == ("running", 99)
    assert view.text.startswith(WAITS.partition("{")[0])
    keeper.error = None
    wait_for(lambda: job_of(archive, JOB).state == "done")
    runner.stop()
    assert (job_of(archive, JOB).target, worked(tmp_path)) == ("7", 1)
    assert job_view(job_of(archive, JOB)).text == "done"


def test_it_says_so_where_nothing_can_be_written(archive: Archive) -> None:
    disk, keeper = Disk(archive), Keeper(OSError(errno.ENOSPC, "full"))
    runner = begun(archive, keeper)
    queue(archive)
    runner.wake()
    wait_for(lambda: keeper.tries)
    disk.full = True
    wait_for(lambda: disk.refused >= 2 and waits(archive, FULL_NOW))
    keeper.error, disk.full = None, False
    wait_for(lambda: job_of(archive, JOB).state == "done")
    runner.stop()


def test_it_can_be_called_off_while_it_waits(archive: Archive) -> None:
    keeper = Keeper(OSError(errno.ENOSPC, "full"))
    runner = begun(archive, keeper)
    queue(archive)
    runner.wake()
    wait_for(lambda: waits(archive, FULL_NOW))
    with archive.database.writing() as session:
        assert cancel_job(session, JOB)
    runner.wake()
    wait_for(lambda: not (archive.incoming(JOB) / FILE).exists())
    tries, keeper.error = keeper.tries, None
    runner.stop()
    assert (job_of(archive, JOB).state, keeper.tries) == ("cancelled", tries)


def test_a_new_start_keeps_it_without_the_work(tmp_path: Path) -> None:
    """However often the server is started meanwhile."""
    keeper = Keeper(OSError(errno.EROFS, "read-only"))
    for start in range(5):
        archive = Archive(tmp_path / "data")
        archive.open()
        if start == 0:
            queue(archive)
        before = keeper.tries
        if start == 4:
            keeper.error = None
        runner = begun(archive, keeper)
        wait_for(lambda before=before: keeper.tries > before)
        if start == 4:
            wait_for(lambda archive=archive: job_of(archive, JOB).state == "done")
        runner.stop()
        archive.close()
    assert worked(tmp_path) == 1


@pytest.mark.parametrize(("error", "told"), [
    (NotFoundError("The day is gone."), "The day is gone."), (FileNotFoundError(errno.ENOENT, "gone"), MISTAKE),
])  # fmt: skip
def test_what_no_waiting_mends_is_not_waited_for(archive: Archive, error: Any, told: str) -> None:
    runner = begun(archive, Keeper(error))
    queue(archive)
    runner.wake()
    ended = wait_for(lambda: (job := job_of(archive, JOB)).state == "failed" and job)
    runner.stop()
    assert ended.error == told
