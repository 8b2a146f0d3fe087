"""The archive: one folder with the database, the raw files, and what is coming in."""

from __future__ import annotations

import shutil
from pathlib import Path

from sqlalchemy import select

from server.archive.folder_lock import FolderLock
from server.archive.place import database_of, samples_of
from server.archive.store_address import raw_of
from server.archive.tables import Job, RawFile
from server.errors import StillairError
from server.settings import Settings

UPLOADS = "uploads"
NOT_WRITABLE = (
    "The data folder {folder} cannot be written ({why}); let it be written, or name another with --data FOLDER. "
    "`stillair verify` and `stillair export` work on it as it is."
)


class Archive:
    """Everything that is kept in a data folder.

    archive.sqlite3   the database; or database.txt, which says on which server it is
    samples.sqlite3   the channels of logs that were looked at, made anew from the raw files where it is missing; or on
                      that server, too
    raw/              raw files and results, by SHA-256; or a store that the settings name, and of it
    store-cache/      what was read of late, safe to delete
    pictures/         photos as pages show them, made anew from the raw files where they are missing
    incoming/         what a job works on until it has ended, one folder a job
    incoming/uploads  files that are still coming in
    known/            what the last fit of a day knows of its noise, made anew by the next fit where it is missing
    scratch/          folders of a moment, empty at every start

    database_url: where the settings are not asked for it.
    Raises StillairError when another server has the folder or the database, or nothing can be written in it.
    """

    def __init__(self, data_folder: Path, database_url: str | None = None, settings: Settings | None = None) -> None:
        self.folder = data_folder.resolve()
        self.raw = raw_of(self.folder, settings)
        self._incoming = self.folder / "incoming"
        try:
            self._incoming.mkdir(parents=True, exist_ok=True)
            self._lock = FolderLock(self.folder)
        except OSError as error:
            raise StillairError(NOT_WRITABLE.format(folder=self.folder, why=error.strerror)) from error
        try:
            self.database = database_of(self.folder, database_url)
            self.database.take()
        except BaseException:
            self._lock.release()
            raise
        self.uploads = self._incoming / UPLOADS
        self.samples = samples_of(self.folder, database_url)
        self.scratch = self.folder / "scratch"
        self.known = self.folder / "known"

    def open(self) -> None:
        """Migrate, and sweep up what an interrupted upload left behind."""
        self.database.migrate()
        self.database.mark()
        shutil.rmtree(self.scratch, ignore_errors=True)
        self.scratch.mkdir()
        self.known.mkdir(exist_ok=True)
        with self.database.reading() as session:
            newest = select(RawFile.sha256).order_by(RawFile.stored_at.desc(), RawFile.sha256).limit(1)
            self.raw.begin(kept=session.scalar(newest))
            waiting = set(session.scalars(select(Job.id).where(Job.state.in_(("queued", "running")))))
        self.raw.sweep()
        waiting.add(UPLOADS)
        for folder in self._incoming.iterdir():
            if folder.name not in waiting:
                shutil.rmtree(folder, ignore_errors=True)

    def close(self) -> None:
        """Give the database file and the folder back."""
        self.database.close()
        self.samples.close()
        self._lock.release()

    def incoming(self, job_id: str) -> Path:
        """The folder of a job's upload, made when needed."""
        folder = self._incoming / job_id
        folder.mkdir(exist_ok=True)
        return folder

    def drop_incoming(self, job_id: str) -> None:
        """Remove a job's upload: nothing of it stays but what was kept."""
        shutil.rmtree(self._incoming / job_id, ignore_errors=True)
