"""An archive's database out of its SQLite file into an empty PostgreSQL database, whole and looked at, or not at all.

Everything is one transaction there: tables, rows, samples, the comparison, the check of the archive. Whatever ends it
before its end, the database is as empty as before; the files here are only read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, text
from sqlalchemy.orm import Session

from server.archive.address import SQLITE_FILE, Address
from server.archive.copying import Content, Progress, copy_rows, tables_of
from server.archive.database import Database, upgrade
from server.archive.disk import disk_in_words
from server.archive.folder_lock import FolderLock
from server.archive.place import SAMPLES_FILE
from server.archive.postgres import WRITING, InUse, engine_of, lock_sentence
from server.archive.read_only import NOT_HERE, TOO_OLD, ReadOnlyArchive
from server.archive.samples import SampleStore
from server.archive.samples_file import VERSION as SAMPLES_VERSION
from server.archive.samples_postgres import SCHEMA, ServerRows, lost_references, make_tables
from server.archive.samples_rows import Rows
from server.errors import StillairError

NOT_EMPTY = (
    "The database {shown} is not empty: it holds {what}. An archive is put into an empty one; nothing was done."
)
ALREADY = "The archive of {folder} was moved before: it is in the database that {mark} names."
FAULTY = "The archive has {number} faults, so nothing was moved; with --with-faults it is moved as it is."
WAIT_MS = 10_000
# everything a person could have put there, but not what the server itself or its extensions bring
HELD = """
SELECT nspname || '.' || relname FROM pg_class JOIN pg_namespace ON pg_namespace.oid = relnamespace
WHERE nspname NOT LIKE 'pg\\_%' AND nspname <> 'information_schema' AND relkind IN ('r', 'p', 'v', 'm', 'S', 'f')
AND NOT EXISTS (SELECT 1 FROM pg_depend WHERE objid = pg_class.oid AND deptype = 'e') ORDER BY 1 LIMIT 1
"""

Check = Callable[[ReadOnlyArchive], list[str]]


class FaultyArchiveError(StillairError):
    """The check of the archive on the other side found faults, which the source has as well."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__(FAULTY.format(number=len(faults)))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Moved:
    """What was moved: tables of the archive and of the samples by name, and the faults that it had already."""

    tables: dict[str, Content]
    samples: dict[str, Content]
    faults: list[str]


def move(folder: Path, address: Address, check: Check, progress: Progress, *, with_faults: bool = False) -> Moved:
    """Move the archive of a data folder. check: looks at the archive as it stands there before anything is final.

    Raises StillairError, in one sentence, where the folder is in use or holds no archive, or the database is not empty;
    FaultyArchiveError where the archive has faults and nobody said that it may. Then nothing was done.
    """
    if not (folder / SQLITE_FILE).is_file():
        raise StillairError(NOT_HERE.format(folder=folder))
    if address.mark.is_file():
        raise StillairError(ALREADY.format(folder=folder, mark=address.mark))
    lock = FolderLock(folder)
    try:
        moved = pour(folder / SQLITE_FILE, address, check, progress, with_faults=with_faults)
        address.leave_mark()
    finally:
        lock.release()
    return moved


def pour(file: Path, address: Address, check: Check, progress: Progress, *, with_faults: bool = False) -> Moved:
    """The rows of a SQLite file and of the samples in the data folder, into the database. See `move`."""
    source = Database(file)
    found, newest = source.check_known()
    if found != newest:
        raise StillairError(TOO_OLD.format(file=file, found=found, newest=newest))
    in_use = InUse(address)
    target = engine_of(address)
    try:
        # as a writer, who writes nothing: a command beside it waits, and nothing is added that would stay behind
        with disk_in_words(), source.writing() as session, target.connect() as connection, connection.begin():
            connection.exec_driver_sql(lock_sentence(WRITING, WAIT_MS))
            _refuse_what_is_there(connection, address)
            upgrade(connection)
            rows = session.connection()
            tables = copy_rows(rows, connection, tables_of(rows), lambda f, told: progress(0.4 * f, told))
            samples = _pour_samples(address.folder, connection, lambda f, told: progress(0.4 + 0.2 * f, told))
            faults = check(_held(address, connection))
            if faults and not with_faults:
                raise FaultyArchiveError(faults)
    finally:
        target.dispose()
        in_use.release()
        source.close()
    return Moved(tables, samples, faults)


def refuse_full(address: Address) -> None:
    """Raise StillairError where the database holds anything."""
    engine = engine_of(address)
    try:
        with disk_in_words(), engine.connect() as connection:
            _refuse_what_is_there(connection, address)
    finally:
        engine.dispose()


def _refuse_what_is_there(connection: Connection, address: Address) -> None:
    held = connection.scalar(text(HELD))
    if held is not None:
        raise StillairError(NOT_EMPTY.format(shown=address.shown, what=held))


def _pour_samples(folder: Path, target: Connection, progress: Progress) -> dict[str, Content]:
    """The samples, where there are any of this version; others are made anew from the raw files."""
    make_tables(target)
    file = folder / SAMPLES_FILE
    if not file.is_file():
        return {}
    engine = Database(file, read_only=True).engine
    try:
        with engine.connect() as source:
            if source.exec_driver_sql("PRAGMA user_version").scalar() != SAMPLES_VERSION:
                return {}
            return copy_rows(source, target, tables_of(source, SCHEMA), progress)
    finally:
        engine.dispose()


def _held(address: Address, connection: Connection) -> ReadOnlyArchive:
    """The archive as it stands in the open transaction."""
    return ReadOnlyArchive(address.folder, _HeldDatabase(address, connection), SampleStore(_HeldSamples(connection)))


class _HeldDatabase(Database):
    """Reads what the open transaction sees; a reading that fails takes nothing with it."""

    def __init__(self, address: Address, connection: Connection) -> None:
        super().__init__(address, read_only=True)
        self._connection = connection

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session inside the transaction."""
        with Session(self._connection, join_transaction_mode="create_savepoint") as session:
            yield session

    def exists(self) -> bool:
        """It is being made."""
        return True

    def check_known(self) -> tuple[str | None, str | None]:
        """It is made by this program."""
        return None, None


class _HeldSamples:
    """The samples in the open transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def exists(self) -> bool:
        """They are being made."""
        return True

    @contextmanager
    def reading(self) -> Iterator[Rows]:
        """Their rows, under their own names."""
        self._connection.exec_driver_sql(f"SET LOCAL search_path = {SCHEMA}")
        try:
            yield ServerRows(self._connection)
        finally:
            self._connection.exec_driver_sql("SET LOCAL search_path = DEFAULT")

    writing = reading

    def own_faults(self, rows: Rows) -> Iterator[str]:
        """Rows that name rows that are not there."""
        yield from lost_references(rows)

    def close(self) -> None:
        """The transaction is its maker's."""
