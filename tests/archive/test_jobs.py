"""Jobs on a disk that is full for a while, and lanes that outlive what befalls one job."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.disk import FULL_NOW
from server.archive.jobs import JobKind, JobRunner, add_job, find_job
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.errors import ArchiveBusyError, DiskFullError, StillairError
from tests.web.serving import wait_for


def count_up(payload: Payload, progress: Progress) -> Payload:
    for number in range(payload["steps"]):
        progress(number / payload["steps"], f"{number} of {payload['steps']}")
        time.sleep(0.02)
    return {"name": payload["name"]}


def refuse(payload: Payload, progress: Progress) -> Payload:
    count_up(payload, progress)
    raise StillairError("It cannot be read.")


def keep_name(_: Archive, __: Session, ___: Payload, outcome: Payload) -> str:
    return str(outcome["name"])


GONE = "The archive's database does not answer (made to be so)."
KINDS = {"count": JobKind(count_up, keep_name)}


class Disk:
    """Says SQLite's own words for a full disk at every write transaction, as long as it is full."""

    def __init__(self, archive: Archive) -> None:
        self.full, self.refused = False, 0
        event.listen(archive.database.engine, "begin", self._begin, insert=True)

    def _begin(self, connection: Any) -> None:
        if self.full and connection.get_execution_options().get("sqlite_begin") == "IMMEDIATE":
            self.refused += 1
            raise DiskFullError(FULL_NOW)


class Server:
    """Answers no transaction as long as it is away, as a database server that is started anew."""

    def __init__(self, archive: Archive) -> None:
        self.away, self.asked = False, 0
        event.listen(archive.database.engine, "begin", self._begin, insert=True)

    def _begin(self, _: Any) -> None:
        if self.away:
            self.asked += 1
            raise ArchiveBusyError(GONE)


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    made = Archive(tmp_path)
    made.open()
    yield made
    made.close()


def queue(archive: Archive, name: str, steps: int = 5, kind: str = "count") -> None:
    with archive.database.writing() as session:
        add_job(session, kind, name, {"name": name, "steps": steps}, name)


def job_of(archive: Archive, name: str) -> Job:
    with archive.database.reading() as session:
        job = find_job(session, name)
        session.expunge(job)
        return job


def test_a_failure_on_a_full_disk_is_written_as_soon_as_there_is_room(archive: Archive) -> None:
    disk, runner = Disk(archive), JobRunner(archive, {**KINDS, "refuse": JobKind(refuse, keep_name)})
    runner.start()
    queue(archive, "first", steps=40, kind="refuse")
    runner.wake()
    wait_for(lambda: job_of(archive, "first").state == "running")
    disk.full = True
    wait_for(lambda: disk.refused > 4)  # progress, its failure, and that once more
    time.sleep(1.5)
    assert job_of(archive, "first").state == "running"
    disk.full = False
    ended = wait_for(lambda: (job := job_of(archive, "first")).state != "running" and job)
    assert (ended.state, ended.error) == ("failed", "It cannot be read.")
    queue(archive, "second")
    runner.wake()
    wait_for(lambda: job_of(archive, "second").state == "done")
    runner.stop()


def test_progress_that_cannot_be_written_ends_no_work(archive: Archive) -> None:
    disk, runner = Disk(archive), JobRunner(archive, KINDS)
    runner.start()
    queue(archive, "first", steps=60)
    runner.wake()
    wait_for(lambda: job_of(archive, "first").fraction > 0)
    disk.full = True
    wait_for(lambda: disk.refused)
    disk.full = False
    done = wait_for(lambda: (job := job_of(archive, "first")).state != "running" and job)
    runner.stop()
    assert (done.state, done.target) == ("done", "first")


def test_what_took_long_is_kept_when_the_database_is_back(archive: Archive, caplog: pytest.LogCaptureFixture) -> None:
    """And the log says once that it is away, not once a second for each lane, and once that it is back."""
    server, runner = Server(archive), JobRunner(archive, KINDS)
    runner.start()
    queue(archive, "first", steps=30)
    runner.wake()
    wait_for(lambda: job_of(archive, "first").state == "running")
    caplog.set_level(logging.INFO)
    server.away = True
    time.sleep(3.5)
    assert 3 < server.asked < 30
    server.away = False
    ended = wait_for(lambda: (job := job_of(archive, "first")).state != "running" and job)
    assert (ended.state, ended.error, ended.target) == ("done", None, "first")
    runner.stop()
    assert [one.getMessage() for one in caplog.records if one.name.startswith("server")] == [
        f"jobs wait: {GONE}", "jobs go on"
    ]  # fmt: skip


def test_the_write_lock_is_taken_when_the_session_opens(archive: Archive) -> None:
    """Not at its first statement: what is read in between would be old by then."""
    with (
        archive.database.writing(),
        closing(sqlite3.connect(archive.database.file, timeout=0.05)) as other,
        pytest.raises(sqlite3.OperationalError, match="locked"),
    ):
        other.execute("BEGIN IMMEDIATE")
