"""The archive: one folder with the database, the raw files, and what is coming in."""

from __future__ import annotations

import shutil
from pathlib import Path

from sqlalchemy import select

from server.archive.database import Database
from server.archive.folder_lock import FolderLock
from server.archive.raw_files import RawStore
from server.archive.samples import SampleStore
from server.archive.tables import Job
from server.errors import StillairError

UPLOADS = "uploads"
NOT_WRITABLE = (
    "The data folder {folder} cannot be written ({why}); let it be written, or name another with --data FOLDER. "
    "`stillair verify` and `stillair export` work on it as it is."
)


class Archive:
    """Everything that is kept in a data folder.

    archive.sqlite3   the database
    samples.sqlite3   the channels of logs that were looked at, made anew from the raw files where it is missing
    raw/              raw files and results, by SHA-256
    pictures/         photos as pages show them, made anew from the raw files where they are missing
    incoming/         what a job works on until it has ended, one folder a job
    incoming/uploads  files that are still coming in
    known/            what the last fit of a day knows of its noise, made anew by the next fit where it is missing
    scratch/          folders of a moment, empty at every start

    Raises StillairError when another server has the folder, or nothing can be written in it.
    """

    def __init__(self, data_folder: Path) -> None:
        self.folder = data_folder.resolve()
        self._incoming = self.folder / "incoming"
        try:
            self._incoming.mkdir(parents=True, exist_ok=True)
            self._lock = FolderLock(self.folder)
        except OSError as error:
            raise StillairError(NOT_WRITABLE.format(folder=self.folder, why=error.strerror)) from error
        self.database = Database(self.folder / "archive.sqlite3")
        self.raw = RawStore(self.folder / "raw")
        self.uploads = self._incoming / UPLOADS
        self.samples = SampleStore(self.folder / "samples.sqlite3")
        self.scratch = self.folder / "scratch"
        self.known = self.folder / "known"

    def open(self) -> None:
        """Migrate, and sweep up what an interrupted upload left behind."""
        self.database.migrate()
        shutil.rmtree(self.scratch, ignore_errors=True)
        self.scratch.mkdir()
        self.known.mkdir(exist_ok=True)
        self.raw.sweep()
        with self.database.reading() as session:
            waiting = set(session.scalars(select(Job.id).where(Job.state.in_(("queued", "running")))))
        waiting.add(UPLOADS)
        for folder in self._incoming.iterdir():
            if folder.name not in waiting:
                shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """Give the database file and the folder back."""
        self.database.close()
        self._lock.release()

    def incoming(self, job_id: str) -> Path:
        """The folder of a job's upload, made when needed."""
        folder = self._incoming / job_id
        folder.mkdir(exist_ok=True)
        return folder

    def drop_incoming(self, job_id: str) -> None:
        """Remove a job's upload: nothing of it stays but what was kept."""
        shutil.rmtree(self._incoming / job_id, ignore_errors=True)
