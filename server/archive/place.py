"""The database and the samples of a data folder, wherever the settings say that they are."""

from __future__ import annotations

from pathlib import Path

from server.archive.address import Address, place_of
from server.archive.database import Database
from server.archive.samples import SampleStore

SAMPLES_FILE = "samples.sqlite3"


def database_of(folder: Path, url: str | None = None, *, read_only: bool = False) -> Database:
    """The database of a data folder. url: where the settings are not asked for it. Raises StillairError."""
    return Database(place_of(folder, url), read_only=read_only)


def samples_of(folder: Path, url: str | None = None) -> SampleStore:
    """The samples of a data folder, beside its database."""
    place = place_of(folder, url)
    if isinstance(place, Address):
        from server.archive.samples_postgres import SamplesOnServer

        return SampleStore(SamplesOnServer(place))
    return SampleStore(folder / SAMPLES_FILE)
