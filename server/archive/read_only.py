"""An archive that is only looked at: beside a running server, without taking the folder."""

from __future__ import annotations

from pathlib import Path

from server.archive.archive import UPLOADS
from server.archive.database import Database
from server.archive.raw_files import RawStore
from server.archive.samples import SampleStore
from server.errors import StillairError

NOT_HERE = "There is no archive in {folder}; name its folder with --data FOLDER."
TOO_OLD = (
    "The archive {file} is of version {found}, which an older Stillair wrote; start `stillair serve` once, "
    "which brings it to version {newest} and keeps a copy of the old one beside it."
)


class ReadOnlyArchive:
    """The database, raw files and samples of a data folder; the database refuses every change.

    Raises StillairError where there is no archive, or one of another version.
    """

    def __init__(self, data_folder: Path) -> None:
        self.folder = data_folder.resolve()
        file = self.folder / "archive.sqlite3"
        if not file.is_file():
            raise StillairError(NOT_HERE.format(folder=data_folder))
        self.database = Database(file, read_only=True)
        self.raw = RawStore(self.folder / "raw")
        self.samples = SampleStore(self.folder / "samples.sqlite3")
        self.uploads = self.folder / "incoming" / UPLOADS
        found, newest = self.database.check_known()
        if found != newest:
            raise StillairError(TOO_OLD.format(file=file, found=found, newest=newest))

    def close(self) -> None:
        """Give the database file back."""
        self.database.close()
