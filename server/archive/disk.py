"""What the disk says, in words; names that are there even after a power cut."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DatabaseError, OperationalError

from server.errors import ArchiveBusyError, ArchiveDamagedError, DiskFullError, StillairError

FULL = (errno.ENOSPC, errno.EDQUOT)
DAMAGED = ("not a database", "malformed")
FULL_NOW = "The disk of the archive is full; make room there and try again. Nothing is half there."
DAMAGED_NOW = (
    "The archive's database is damaged ({told}); end the server, see what `stillair verify` says, "
    "and put a good copy of the data folder in its place."
)
UNFINISHED = (
    "The data folder {folder} cannot be written, and its newest changes are not in the database's file yet; "
    "copy the folder to where it can be written."
)
BUSY_NOW = "Something else holds the archive's database and does not let go; try again. Nothing was changed."
GONE_NOW = (
    "The archive's database does not answer ({told}); see that it runs and can be reached, "
    "and then whether what you entered last is there."
)
NUL_NOW = "A text holds a NUL sign, which the archive's database cannot keep; take it out."
# PostgreSQL's codes of what it refuses (appendix A of its manual); the first signs are enough.
POSTGRES_FULL, POSTGRES_BUSY = ("53100",), ("55P03", "40P01", "40001", "53300")
POSTGRES_GONE, POSTGRES_DAMAGED = ("08", "57P", "28", "3D"), ("XX001", "XX002")


@contextmanager
def disk_in_words() -> Iterator[None]:
    """A full disk, told by the system or by the database, a database that others hold, that cannot be reached, or
    whose bytes are none: one sentence each.

    Raises DiskFullError, ArchiveBusyError, ArchiveDamagedError in place of what the system raised.
    """
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            raise DiskFullError(FULL_NOW) from error
        raise
    except DatabaseError as error:
        if type(error.orig).__module__.startswith("psycopg"):
            _raise_words_of_postgres(error)
            raise
        told = str(error.orig)
        if "is full" in told:
            raise DiskFullError(FULL_NOW) from error
        if "is locked" in told:
            raise ArchiveBusyError(BUSY_NOW) from error
        if any(words in told for words in DAMAGED):
            raise ArchiveDamagedError(DAMAGED_NOW.format(told=told)) from error
        raise


def _raise_words_of_postgres(error: DatabaseError) -> None:
    state = getattr(error.orig, "sqlstate", None) or ""
    told = str(error.orig).strip().partition("\n")[0]
    if state.startswith(POSTGRES_FULL):
        raise DiskFullError(FULL_NOW) from error
    if state.startswith(POSTGRES_BUSY):
        raise ArchiveBusyError(BUSY_NOW) from error
    if state.startswith(POSTGRES_DAMAGED):
        raise ArchiveDamagedError(DAMAGED_NOW.format(told=told)) from error
    if state.startswith(POSTGRES_GONE) or (not state and isinstance(error, OperationalError)):
        raise ArchiveBusyError(GONE_NOW.format(told=told)) from error
    if "NUL (0x00)" in told:
        raise StillairError(NUL_NOW) from error


def is_frozen(file: Path) -> bool:
    """Whether nothing can be written beside a database: then SQLite must be told that nobody else does.

    Raises StillairError where changes still lie beside the file, which cannot be brought into it there.
    """
    if os.access(file.parent, os.W_OK):
        return False
    journal = file.with_name(f"{file.name}-wal")
    if journal.is_file() and journal.stat().st_size:
        raise StillairError(UNFINISHED.format(folder=file.parent))
    return True


def sync_file(file: Path) -> None:
    """Make a file's bytes safe on disk."""
    with file.open("rb") as stream:
        os.fsync(stream.fileno())


def sync_tree(folder: Path) -> None:
    """Make all files below a folder safe on disk, and their names."""
    for file in folder.rglob("*"):
        sync_folder(file) if file.is_dir() else sync_file(file)
    sync_folder(folder)
    sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Make names in a folder safe on disk, where a system knows such a thing."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
