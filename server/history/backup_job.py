"""A backup as a job, asked for or due; that it was made is an event."""

from __future__ import annotations

import datetime as dt
import json
import logging
import threading
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.backup_files import BadFile
from server.archive.backups import back_up
from server.archive.database import now_utc
from server.archive.events import PROGRAM, record
from server.archive.jobs import JobKind, JobRunner, add_job, new_job_id
from server.archive.tables import Event, Job
from server.archive.worker import Payload, Progress
from server.days.job_view import BACKUP_JOB
from server.errors import StillairError

BACKED_UP, LANE = "archive-backed-up", "long"
LOOK_EVERY_S = 60.0
MOST_NAMED = 20  # damaged files in an event; the backup's manifest names all
FORGIVE_FAILURE = dt.timedelta(hours=1)
NO_FOLDER = "No folder for backups is set: start the server with STILLAIR_BACKUP_FOLDER, best on another disk."


def queue_backup(session: Session, archive: Archive, folder: Path | None, keep: int, who: str) -> str:
    """Queue a backup; gives the job. Raises StillairError where no folder is set."""
    if folder is None:
        raise StillairError(NO_FOLDER)
    job_id = new_job_id()
    payload = {"archive": str(archive.folder), "folder": str(folder), "keep": keep, "who": who}
    add_job(session, BACKUP_JOB, "backup of the archive", payload, job_id, lane=LANE, who=who)
    return job_id


def backup_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: the copy."""
    return asdict(back_up(Path(payload["archive"]), Path(payload["folder"]), payload["keep"], progress))


def keep_backup(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:  # noqa: ARG001
    """In the server: the event; gives its number."""
    return str(record_backup(session, payload["who"], payload["folder"], outcome).id)


def record_backup(session: Session, who: str, folder: str, outcome: Mapping[str, Any]) -> Event:
    """The event of a backup; what was damaged is a warning in the log, too."""
    damaged = [BadFile(**one) for one in outcome.get("damaged", ())]
    for one in damaged:
        logging.getLogger(__name__).warning("backup %s: %s", outcome["name"], one.told)
    told = {"folder": folder, **outcome, "damaged": [one.told for one in damaged[:MOST_NAMED]]}
    told["damaged_files"] = len(damaged)
    told["lacking_files"] = sum(not one.backup for one in damaged)
    return record(session, who=who, kind=BACKED_UP, subject=outcome["name"], after=told)


def damage_in_words(damaged: int, lacking: int) -> str:
    """What a person must know of a backup; "" where all was sound."""
    if not damaged:
        return ""
    files = "1 raw file" if damaged == 1 else f"{damaged} raw files"
    is_, its = ("is", "it") if damaged == 1 else ("are", "them")
    if not lacking:
        return f"{files} of the archive {is_} damaged or gone; the backups have {its} sound."
    lacked = its if lacking == damaged else f"{lacking} of {its}"
    return f"{files} of the archive {is_} damaged or gone, and no backup here has {lacked}; all else is in this one."


BACKUP_KINDS = {BACKUP_JOB: JobKind(backup_work, keep_backup)}


def newest_backup(session: Session) -> Event | None:
    """The event of the newest backup."""
    return session.scalar(select(Event).where(Event.kind == BACKED_UP).order_by(Event.id.desc()).limit(1))


def damage_at(backup: Event | None) -> str:
    """What was damaged when a backup was made, in words; "" where nothing was."""
    told = json.loads((backup.after if backup else None) or "{}")
    return damage_in_words(told.get("damaged_files", 0), told.get("lacking_files", 0))


def is_due(session: Session, every: dt.timedelta) -> bool:
    """Whether something happened since the newest backup, that one is old enough, and none waits or failed lately."""
    last = newest_backup(session)
    newest = session.scalar(select(Event.id).order_by(Event.id.desc()).limit(1)) or 0
    if newest == 0 or (last is not None and _only_backups_since(session, last)):
        return False
    if last is not None and now_utc() - dt.datetime.fromisoformat(last.at) < every:
        return False
    job = session.scalar(select(Job).where(Job.kind == BACKUP_JOB).order_by(Job.created_at.desc()).limit(1))
    if job is None or job.state in ("done", "cancelled"):
        return True
    return job.state == "failed" and now_utc() - job.created_at > FORGIVE_FAILURE


def _only_backups_since(session: Session, last: Event) -> bool:
    copied = json.loads(last.after or "{}").get("event", 0)
    others = select(Event.id).where(Event.id > copied, Event.kind != BACKED_UP).limit(1)
    return session.scalar(others) is None


class BackupClock:
    """Queues backups as they fall due, from a thread of the server; does nothing where no folder is set."""

    def __init__(self, archive: Archive, jobs: JobRunner, folder: Path | None, every_h: float, keep: int) -> None:
        self._archive, self._jobs = archive, jobs
        self._folder, self._every, self._keep = folder, dt.timedelta(hours=every_h), keep
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="stillair-backups", daemon=True)

    def start(self) -> None:
        """Begin."""
        if self._folder is not None:
            self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(10.0)

    def look(self) -> None:
        """Queue a backup when one is due."""
        with self._archive.database.reading() as session:
            due = is_due(session, self._every)
        if due:
            with self._archive.database.writing() as session:
                queue_backup(session, self._archive, self._folder, self._keep, PROGRAM)
            self._jobs.wake()

    def _loop(self) -> None:
        while not self._stop.is_set():
            try:
                self.look()
            except StillairError as error:
                logging.getLogger(__name__).warning("a backup could not be queued: %s", error)
            self._stop.wait(LOOK_EVERY_S)
