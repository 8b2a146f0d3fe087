"""An archive that is only looked at: beside a running server, without taking the folder."""

from __future__ import annotations

from pathlib import Path

from server.archive.archive import UPLOADS
from server.archive.database import Database
from server.archive.place import database_of, samples_of
from server.archive.samples import SampleStore
from server.archive.store_address import raw_of
from server.errors import StillairError

NOT_HERE = "There is no archive in {folder}; name its folder with --data FOLDER."
TOO_OLD = (
    "The archive {file} is of version {found}, which an older Stillair wrote; start `stillair serve` once, "
    "which brings it to version {newest} and keeps a copy of the old one beside it."
)


class ReadOnlyArchive:
    """The database, raw files and samples of a data folder; the database refuses every change.

    database, samples: where they are not those that the folder and the settings name.
    Raises StillairError where there is no archive, or one of another version.
    """

    def __init__(
        self, data_folder: Path, database: Database | None = None, samples: SampleStore | None = None
    ) -> None:
        self.folder = data_folder.resolve()
        self.database = database or database_of(self.folder, read_only=True)
        if not self.database.exists():
            raise StillairError(NOT_HERE.format(folder=data_folder))
        self.raw = raw_of(self.folder)
        self.samples = samples or samples_of(self.folder)
        self.uploads = self.folder / "incoming" / UPLOADS
        found, newest = self.database.check_known()
        if found != newest:
            raise StillairError(TOO_OLD.format(file=self.database.shown, found=found, newest=newest))

    def close(self) -> None:
        """Give the database back."""
        self.database.close()
        self.samples.close()
