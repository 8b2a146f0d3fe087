"""The SQLite file of the samples: its tables, its version, its connections.

It is a cache of the raw files, so there are no migrations: a file of an older version is emptied and filled anew as
logs are asked for. What it lost with the power it gets again the same way; hence `synchronous = NORMAL`, which in WAL
never leaves a torn file.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote

from server.archive.disk import is_frozen
from server.archive.samples_rows import Rows
from server.errors import StillairError

VERSION = 1
APPLICATION_ID = 0x5354534D
BUSY_TIMEOUT_S = 60.0
PAGE_BYTES = 16_384
MOST_JOURNAL_BYTES = 64 * 1024 * 1024

TABLES = """
CREATE TABLE logs (
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE,
    reader_version TEXT NOT NULL,
    file TEXT NOT NULL,
    description TEXT NOT NULL,
    start_clock_s REAL,
    start_date TEXT,
    clock_is_utc INTEGER NOT NULL,
    time_column TEXT,
    findings TEXT NOT NULL
);
CREATE TABLE series (
    id INTEGER PRIMARY KEY,
    log_id INTEGER NOT NULL REFERENCES logs (id) ON DELETE CASCADE,
    n INTEGER NOT NULL,
    rising INTEGER NOT NULL
);
CREATE INDEX series_of_log ON series (log_id);
CREATE TABLE channels (
    log_id INTEGER NOT NULL REFERENCES logs (id) ON DELETE CASCADE,
    position INTEGER NOT NULL,
    name TEXT NOT NULL,
    unit TEXT,
    first_s REAL,
    last_s REAL,
    time_id INTEGER NOT NULL REFERENCES series (id),
    values_id INTEGER NOT NULL REFERENCES series (id),
    PRIMARY KEY (log_id, position)
) WITHOUT ROWID;
CREATE INDEX channels_of_time ON channels (time_id);
CREATE INDEX channels_of_values ON channels (values_id);
CREATE TABLE levels (
    series_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    level INTEGER NOT NULL,
    low_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    high_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    PRIMARY KEY (series_id, level)
) WITHOUT ROWID;
CREATE INDEX levels_of_low ON levels (low_id);
CREATE INDEX levels_of_high ON levels (high_id);
CREATE TABLE chunks (
    series_id INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
    part INTEGER NOT NULL,
    n INTEGER NOT NULL,
    codec TEXT NOT NULL,
    dtype TEXT NOT NULL,
    digits INTEGER,
    last REAL,
    sha256 TEXT NOT NULL,
    data BLOB NOT NULL
);
CREATE UNIQUE INDEX chunks_of_series ON chunks (series_id, part, last);
"""
TOO_NEW = (
    "The samples store {file} is of version {found}, which a newer Stillair wrote (this one knows up to {newest}); "
    "open it with that one. Nothing in it was touched."
)
FOREIGN = "{file} is not a samples store; move it away, and the store is made anew from the raw files."
BUSY = "The samples store {file} was busy for {seconds:.0f} s; try again. Nothing was changed."
FULL = "The disk of {file} is full; nothing was changed."
DAMAGED = (
    "The samples store {file} cannot be used ({why}); if it is damaged, move it away, "
    "and it is made anew from the raw files."
)


class SamplesFile:
    """Connections to the file, made with its tables when first needed; one connection for each use."""

    def __init__(self, file: Path) -> None:
        self.file = file

    def exists(self) -> bool:
        """Whether anything was ever kept."""
        return self.file.is_file()

    def own_faults(self, rows: Rows) -> Iterator[str]:
        """What SQLite finds in the file."""
        for (said,) in rows.execute("PRAGMA integrity_check").fetchall():
            if said != "ok":
                yield f"Samples: {said}."
        for table, _, other, _ in rows.execute("PRAGMA foreign_key_check").fetchall():
            yield f"Samples: a row of {table} names a row of {other} that is not there."

    def close(self) -> None:
        """Nothing is open between two uses."""

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection that sees one moment of the file, whoever writes meanwhile."""
        with self._transaction("BEGIN") as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """A connection with the write lock; all is committed at the end, or nothing when anything is raised."""
        with self._transaction("BEGIN IMMEDIATE") as connection:
            yield connection

    @contextmanager
    def _transaction(self, begin: str) -> Iterator[sqlite3.Connection]:
        try:
            with closing(self._connect()) as connection:
                connection.execute(begin)
                try:
                    yield connection
                except BaseException:
                    if connection.in_transaction:
                        connection.execute("ROLLBACK")
                    raise
                connection.execute("COMMIT")
        except sqlite3.Error as error:
            raise StillairError(self._sentence(error)) from error

    def _connect(self) -> sqlite3.Connection:
        if is_frozen(self.file):
            address = f"file:{quote(str(self.file))}?immutable=1"
            return sqlite3.connect(address, uri=True, isolation_level=None)
        connection = sqlite3.connect(self.file, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            if connection.execute("PRAGMA user_version").fetchone()[0] != VERSION:
                self._make(connection)
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = NORMAL")
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute(f"PRAGMA journal_size_limit = {MOST_JOURNAL_BYTES}")
        except BaseException:
            connection.close()
            raise
        return connection

    def _make(self, connection: sqlite3.Connection) -> None:
        """Make the tables, over those of an older version. Raises StillairError for a newer or a foreign file."""
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("BEGIN EXCLUSIVE")
        try:
            if self._needs_tables(connection):
                for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
                    connection.execute(f'DROP TABLE "{table}"')
                for statement in TABLES.split(";"):
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {VERSION}")
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise

    def _needs_tables(self, connection: sqlite3.Connection) -> bool:
        """Whether nobody else has made them in the meantime. Raises StillairError for a newer or a foreign file."""
        found = connection.execute("PRAGMA user_version").fetchone()[0]
        used = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if used and connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise StillairError(FOREIGN.format(file=self.file))
        if found > VERSION:
            raise StillairError(TOO_NEW.format(file=self.file, found=found, newest=VERSION))
        return bool(found < VERSION)

    def _sentence(self, error: sqlite3.Error) -> str:
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return BUSY.format(file=self.file, seconds=BUSY_TIMEOUT_S)
        if code == sqlite3.SQLITE_FULL:
            return FULL.format(file=self.file)
        return DAMAGED.format(file=self.file, why=error)
