"""A run's logs in the samples store: which are there, and the job that reads those that are not."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.place import samples_of
from server.archive.raw_files import RawStore
from server.archive.store_address import open_raw
from server.archive.tables import JOB_LANES, Job
from server.archive.worker import Payload, Progress
from server.days.service import lay_out
from server.testday.roles import NOTHING
from server.testday.values import Day, LogFile, RawLog, Run

READ_JOB = "read-logs"


@dataclass(frozen=True, slots=True)
class RunLog:
    """A log of a run. key: its name in the samples store; signals: SHA-256 of the database of its signals.

    time: the column that a person named as its time.
    """

    log: LogFile
    sha256: str
    key: str
    signals: str | None = None
    time: str | None = None


def run_logs(day: Day, run: Run, files: Mapping[str, str]) -> tuple[RunLog, ...]:
    """The logs of a run; files: path → SHA-256 of the revision. What lies outside the folder is left out."""
    time = {**day.channels, **run.channels}.get("time")
    named = None if time == NOTHING else time
    return tuple(_run_log(log, day, files, named) for log in run.logs if log.file in files)


def _run_log(log: LogFile, day: Day, files: Mapping[str, str], time: str | None) -> RunLog:
    sha256, signals = files[log.file], files.get(log.signals or day.signals or "")
    return RunLog(log, sha256, samples_key(sha256, signals, time), signals, time)


def samples_key(sha256: str, signals: str | None, time: str | None) -> str:
    """The name of a log's samples: its own hash, unless somebody's word decides how it is read."""
    if signals is None and time is None:
        return sha256
    return hashlib.sha256(f"{sha256}\n{signals or ''}\n{time or ''}".encode()).hexdigest()


def unread(archive: Archive, logs: tuple[RunLog, ...]) -> tuple[RunLog, ...]:
    """Those of the logs that the samples store does not hold."""
    return tuple(one for one in logs if not archive.samples.has(one.key))


def queue_reading(
    archive: Archive, session: Session, of: tuple[int, int], logs: tuple[RunLog, ...], who: str
) -> str:
    """Queue the reading of logs, or find the job that is on it already; gives the job. of: day and run."""
    day_id, run = of
    keys = {one.key for one in logs}
    for job in session.scalars(select(Job).where(Job.kind == READ_JOB, Job.state.in_(("queued", "running")))):
        if keys <= {one["key"] for one in job.payload["logs"]}:
            return job.id
    job_id = new_job_id()
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "archive": str(archive.folder),
        "day_id": day_id,
        "logs": [_words(one) for one in logs],
    }
    lane = _free_lane(session)
    add_job(session, READ_JOB, f"logs of run {run}", payload, job_id, lane=lane, day_id=day_id, who=who)
    return job_id


def _free_lane(session: Session) -> str:
    """The quick lane, unless something waits there and nothing in another."""
    busy = set(session.scalars(select(Job.lane).where(Job.state.in_(("queued", "running")))))
    return next((lane for lane in ("quick", *JOB_LANES) if lane not in busy), "quick")


def _words(one: RunLog) -> dict[str, Any]:
    return {"file": one.log.file, "sha256": one.sha256, "key": one.key, "signals": one.signals, "time": one.time}


def read_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: read each log as the fit would, and keep its samples."""
    progress(0.01, "starting")
    scratch, raw = Path(payload["scratch"]), open_raw(payload["raw"])
    samples = samples_of(Path(payload["archive"]))
    for place, log in enumerate(payload["logs"]):
        progress(0.05 + 0.9 * place / len(payload["logs"]), f"reading {log['file']}")
        samples.keep(log["key"], _read(log, scratch / str(place), raw))
    samples.close()
    return {}


def _read(log: Mapping[str, Any], folder: Path, raw: RawStore) -> RawLog:
    from server.readers import open_log
    from server.readers.join import opened

    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    path = folder / Path(log["file"]).name
    lay_out(raw, log["sha256"], path)
    signals = None
    if log["signals"]:
        signals = folder / "signals" / "database"
        lay_out(raw, log["signals"], signals)

    def open_file(name: str, time_column: str | None = None) -> RawLog:
        return open_log(path, name=name, time_column=time_column, signals=signals)

    return opened(open_file, LogFile(log["file"]), log["time"])


def logs_read(_: Archive, __: Session, payload: Payload, ___: Payload) -> str:
    """In the server: the samples are kept already; gives the day's number."""
    return str(payload["day_id"])


READ_KINDS = {READ_JOB: JobKind(read_work, logs_read, ahead=True)}
