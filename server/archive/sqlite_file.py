"""The archive's database as one SQLite file: durable settings, write transactions that wait for their turn, copies."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, closing, nullcontext
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event

from server.archive.disk import NUL_NOW, is_frozen, sync_file, sync_folder
from server.errors import StillairError

BEGIN_OPTION = "sqlite_begin"
UNFINISHED = "unfinished copy.sqlite3"
CONNECTION_SETTINGS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
)
READING_SETTINGS = ("PRAGMA foreign_keys = ON", "PRAGMA query_only = ON")


class SqliteFile:
    """The engine of a file.

    A transaction that reads first and writes later can fail when another writer comes between; BEGIN IMMEDIATE waits
    for its turn instead, `busy_timeout_ms` at most.
    """

    def __init__(self, file: Path, *, read_only: bool, busy_timeout_ms: int) -> None:
        self.file = file
        self.busy_timeout_ms = busy_timeout_ms
        self._read_only = read_only
        frozen = read_only and is_frozen(file)
        address = f"/file:{quote(str(file))}?immutable=1&uri=true" if frozen else f"/{file}"
        self.engine: Engine = create_engine(f"sqlite+pysqlite://{address}")
        event.listen(self.engine, "connect", self._set_up_connection)
        event.listen(self.engine, "begin", _begin)
        event.listen(self.engine, "before_cursor_execute", _refuse_nul)

    @property
    def shown(self) -> str:
        """How sentences name it."""
        return str(self.file)

    def exists(self) -> bool:
        """Whether there is an archive."""
        return self.file.is_file()

    def copy_to(self, target: Path) -> None:
        """A whole, consistent copy of the file as it is now, whoever writes meanwhile: named so when it is whole."""
        unfinished = room_for_copy(target)
        with closing(sqlite3.connect(self.file)) as source, closing(sqlite3.connect(unfinished)) as copy:
            source.backup(copy)
        name_copy(unfinished, target)

    def as_one_file(self) -> None:
        """Bring everything into the file itself: nothing lies beside it then."""
        with closing(sqlite3.connect(self.file)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")

    def copy_place(self, name: str) -> Path:
        """Where a copy of an older version goes."""
        return self.file.with_name(name)

    def migrating(self, _: Connection) -> AbstractContextManager[object]:
        """Around migrations: nothing, they are one transaction by themselves."""
        return nullcontext()

    def open(self) -> None:
        """Nothing to take: the data folder's own lock keeps others out."""

    def mark(self) -> None:
        """Nothing need be said: the file is in its data folder."""

    def close(self) -> None:
        """Give the file back."""
        self.engine.dispose()

    def _set_up_connection(self, connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not open transactions of its own
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {self.busy_timeout_ms}")
        for setting in READING_SETTINGS if self._read_only else CONNECTION_SETTINGS:
            cursor.execute(setting)
        cursor.close()


def room_for_copy(target: Path) -> Path:
    """Where a copy is made before it gets its name; what a program that was killed left there is gone."""
    for left in target.parent.glob(f"{UNFINISHED}*"):
        left.unlink()
    return target.with_name(UNFINISHED)


def name_copy(unfinished: Path, target: Path) -> None:
    """Give a copy its name, once all of it is safe on disk."""
    sync_file(unfinished)
    unfinished.replace(target)
    sync_folder(target.parent)


def _refuse_nul(*asked: Any) -> None:
    """What a server cannot keep is not kept in a file, which could not be moved there then. Raises StillairError."""
    _connection, _cursor, _statement, told, _context, _many = asked
    if any(isinstance(value, str) and "\0" in value for value in _values(told)):
        raise StillairError(NUL_NOW)


def _values(told: Any) -> Iterator[Any]:
    """Of one row or of several, by name or by place; rows that go in by one statement come as one flat row."""
    for value in told.values() if isinstance(told, dict) else told or ():
        if isinstance(value, (dict, list, tuple)):
            yield from _values(value)
        else:
            yield value


def _begin(connection: Any) -> None:
    connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get(BEGIN_OPTION, 'DEFERRED')}")
