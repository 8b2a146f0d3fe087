"""What work shows before its end stands with its job at once, and pages hear of it."""

from __future__ import annotations

import time
from pathlib import Path

from server.archive.archive import Archive
from server.archive.jobs import JobKind, JobRunner, add_job, find_job
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from tests.archive.test_jobs import keep_name
from tests.web.serving import wait_for


def show_and_wait(payload: Payload, progress: Progress) -> Payload:
    progress(0.1, "begun")
    progress(0.5, "half", {"seen": [1, 2]})  # at once, however soon after the word before
    while not Path(payload["end"]).exists():
        time.sleep(0.02)
    return payload


def test_it_stands_there_while_the_work_goes_on(tmp_path: Path) -> None:
    archive, end = Archive(tmp_path / "data"), tmp_path / "end"
    archive.open()
    runner = JobRunner(archive, {"show": JobKind(show_and_wait, keep_name)})
    runner.start()
    with archive.database.writing() as session:
        add_job(session, "show", "it", {"name": "it", "end": str(end)}, "it", day_id=7)
    since = archive.database.news.newest
    runner.wake()
    job = wait_for(lambda: "seen" in (job := _job(archive)).payload and job)
    assert (job.state, job.text, job.payload["seen"], job.payload["name"]) == ("running", "half", [1, 2], "it")
    assert archive.database.news.days_since(since) == {7}
    end.touch()
    assert wait_for(lambda: (job := _job(archive)).state == "done" and job).payload["seen"] == [1, 2]
    runner.stop()
    archive.close()


def _job(archive: Archive) -> Job:
    with archive.database.reading() as session:
        job = find_job(session, "it")
        session.expunge(job)
        return job
