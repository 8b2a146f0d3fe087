"""A backup, put back as an archive of this version that says of itself what is in it."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import update

from server.archive.backups import Progress, restore
from server.archive.place import database_of
from server.uploads.service import RECEIVING
from server.uploads.tables import Upload


def put_back(target: Path, name: str | None, data_folder: Path, progress: Progress) -> str:
    """Restore a backup (the newest, when none is named) and bring it to this version's form; gives its name.

    A backup holds no file that was still coming in, so each of them stands at its first byte again: the device that
    goes on with it asks where, and sends it anew. Raises what `restore` does.
    """
    chosen = restore(target, name, data_folder, progress)
    database = database_of(data_folder)
    try:
        database.migrate()
        with database.writing() as session:
            session.execute(update(Upload).where(Upload.state == RECEIVING).values(received_bytes=0))
    finally:
        database.close()
    return chosen
