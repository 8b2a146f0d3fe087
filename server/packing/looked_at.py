"""An archive beside a running server, for work that only reads: what would be kept is refused."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

from sqlalchemy.orm import Session

from server.archive.read_only import ReadOnlyArchive
from server.errors import StillairError

ONLY_READ = "This archive is only looked at; nothing is kept in it."


class _Reading:
    """Its database."""

    def __init__(self, archive: ReadOnlyArchive) -> None:
        self._archive = archive

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that only reads."""
        with self._archive.database.reading() as session:
            yield session

    def writing(self) -> NoReturn:
        """Raises StillairError: what lists keep of a revision for themselves is then made without being kept."""
        raise StillairError(ONLY_READ)


class LookedAt:
    """What reading work uses of an archive. scratch: a folder of its own for laying days out."""

    def __init__(self, archive: ReadOnlyArchive, scratch: Path) -> None:
        self.database, self.raw, self.folder, self.scratch = _Reading(archive), archive.raw, archive.folder, scratch
