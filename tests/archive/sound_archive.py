"""An archive with something in every table that tests alter, move or copy."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from server.archive.archive import Archive
from server.archive.jobs import add_job, find_job
from server.days.facts import briefs_of
from server.days.holding import days_holding
from server.days.revisions import revise_day
from server.days.service import FIT_JOB, IncomingDay, keep_day, newest_revision
from server.locations import sample_day_folders
from server.results.service import keep_result, write_result
from server.testday.folder import read_folder
from server.testday.values import Channel
from server.uploads.service import Uploads
from tests.archive.sample_logs import log_of, walk
from tests.archive.test_verify import heavier
from tests.web.made_up import made_up_day_result

LONG = 64 * 300


def make_sound(scratch: Path) -> Path:
    """A data folder with a day, a change, two results, uploads, facts, samples, a job."""
    archive = Archive(scratch / "data")
    archive.open()
    folder = sample_day_folders()[0]
    day = read_folder(folder)
    with archive.database.writing() as session:
        kept = keep_day(archive, session, IncomingDay(day.name, day.date, folder, "a day"), "Ada")
        add_job(session, FIT_JOB, day.name, {}, "job")
        find_job(session, "job").state, find_job(session, "job").target = "done", str(kept.id)
        session.flush()
    revise_day(archive, 1, heavier, who="Ada", reason="weighed again")
    for seed in (1, 2):
        write_result(made_up_day_result("AB", seed=seed), scratch / "result.zip")
        with archive.database.writing() as session:
            keep_result(archive, session, newest_revision(session, 1), scratch / "result.zip")
    with archive.database.reading() as session:
        revision = newest_revision(session, 1)
        briefs_of(archive, session, [revision.id])
        sha256 = next(one.sha256 for one in revision.files if one.path.endswith("run01.csv"))
    time_s = np.arange(LONG) / 100.0
    archive.samples.keep(sha256, log_of(Channel("speed", "m/s", time_s, walk(LONG, 1))))
    uploads = Uploads(archive, 10**6, days_holding)
    for size in (3, 5):  # one comes in whole, one half
        upload = uploads.begin("run.csv", size, who="Ada")
        uploads.append(upload.id, 0, b"abc")
        uploads.settle(upload.id)
    archive.close()
    return scratch / "data"
