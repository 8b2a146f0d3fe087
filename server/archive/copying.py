"""All rows of an archive from one database into another, SQLite's or PostgreSQL's, and the proof that none changed.

What the tables are is read from the SQLite side. Rows go in the order of their keys, so that both sides tell one hash.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Connection,
    Date,
    DateTime,
    Double,
    Float,
    Integer,
    LargeBinary,
    MetaData,
    RowMapping,
    Table,
    Text,
    func,
    insert,
    select,
    text,
)
from sqlalchemy.exc import StatementError
from sqlalchemy.types import TypeEngine

from server.archive.database import upgrade, version_of
from server.archive.sqlite_file import BEGIN_OPTION, SqliteFile
from server.errors import StillairError

VERSION_TABLE = "alembic_version"
ROWS_AT_ONCE = 200
WAIT_MS = 10_000
KINDS: tuple[tuple[type[TypeEngine[Any]], TypeEngine[Any]], ...] = (
    (JSON, JSON()),
    (Boolean, Boolean()),
    (DateTime, DateTime()),
    (Date, Date()),
    (Integer, BigInteger()),
    (Float, Double()),
    (LargeBinary, LargeBinary()),
)
UNREADABLE = "A row of the table {table} cannot be copied ({why}); `stillair verify` names it. Nothing was kept."
OTHER_ROWS = "The table {table} came out otherwise than it went in ({before} before, {after} after). Nothing was kept."

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Content:
    """What a table holds: how many rows, and the SHA-256 over all of them."""

    rows: int
    sha256: str

    def __str__(self) -> str:
        """In words."""
        return f"{self.rows} rows, SHA-256 {self.sha256[:12]}…"


def tables_of(connection: Connection, schema: str | None = None) -> list[Table]:
    """The tables of a SQLite file, those that others name first, with types that both sides have.

    schema: under which PostgreSQL keeps them.
    """
    found = MetaData()
    found.reflect(connection)
    for table in found.tables.values():
        for column in table.columns:
            column.type = next((made for kind, made in KINDS if isinstance(column.type, kind)), Text())
    chosen = (table for table in found.sorted_tables if table.name != VERSION_TABLE)
    return [table.to_metadata(MetaData(), schema=schema) for table in chosen]  # type: ignore[arg-type]  # as below


def copy_rows(source: Connection, target: Connection, tables: list[Table], progress: Progress) -> dict[str, Content]:
    """Copy all rows and look at them once more on the other side; what each table holds.

    Both connections have a transaction, the target's is the caller's to end. Raises StillairError where a row cannot
    be copied or came out otherwise.
    """
    total = sum(_count(source, table) for table in tables) or 1
    done, contents = 0, {}
    for table in tables:
        seen = _Digest(table)
        progress(done / total, f"table {table.name}")
        try:
            for rows in _rows(source, table):
                target.execute(insert(_for(target, table)), [dict(row) for row in map(seen.take, rows)])
                done += len(rows)
                progress(done / total, f"table {table.name}")
        except (StatementError, ValueError, TypeError) as error:
            why = str(getattr(error, "orig", error)).strip().partition("\n")[0]
            raise StillairError(UNREADABLE.format(table=table.name, why=why)) from error
        count_on(target, table)
        contents[table.name] = seen.content
        if (after := content_of(target, table)) != seen.content:
            raise StillairError(OTHER_ROWS.format(table=table.name, before=seen.content, after=after))
    return contents


def content_of(connection: Connection, table: Table) -> Content:
    """What a table holds."""
    seen = _Digest(table)
    for rows in _rows(connection, table):
        for row in rows:
            seen.take(row)
    return seen.content


def copy_into_file(source: Connection, target: Path) -> None:
    """All of a PostgreSQL archive as it is at one moment, as a new SQLite file of the same version."""
    version = version_of(source)
    file = SqliteFile(target, read_only=False, busy_timeout_ms=WAIT_MS)
    try:
        if version is not None:
            with file.engine.execution_options(**{BEGIN_OPTION: "IMMEDIATE"}).connect() as connection:
                upgrade(connection, version)
                connection.commit()
        with file.engine.begin() as connection:
            connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
            copy_rows(source, connection, tables_of(connection), lambda *_: None)
    finally:
        file.close()
    file.as_one_file()


class _Digest:
    """Counts rows and hashes them, each as one line of canonical JSON."""

    def __init__(self, table: Table) -> None:
        self._hash, self._rows = hashlib.sha256(), 0
        self._names = sorted(column.name for column in table.columns)

    @property
    def content(self) -> Content:
        """What was seen."""
        return Content(self._rows, self._hash.hexdigest())

    def take(self, row: RowMapping) -> RowMapping:
        """Look at a row, and hand it on."""
        told = json.dumps([row[name] for name in self._names], sort_keys=True, separators=(",", ":"), default=_plain)
        self._hash.update(told.encode() + b"\n")
        self._rows += 1
        return row


def _plain(value: Any) -> str:
    return hashlib.sha256(value).hexdigest() if isinstance(value, bytes | memoryview) else str(value.isoformat())


def _for(connection: Connection, table: Table) -> Table:
    """The table under the name that it has there: SQLite knows no schemas."""
    if table.schema is None or connection.dialect.name == "postgresql":
        return table
    return table.to_metadata(MetaData(), schema=None)  # type: ignore[arg-type]  # None: in none


def _count(connection: Connection, table: Table) -> int:
    return connection.scalar(select(func.count()).select_from(_for(connection, table))) or 0


def _rows(connection: Connection, table: Table) -> Iterator[list[RowMapping]]:
    here = _for(connection, table)
    keys = list(here.primary_key.columns) or list(here.columns)[:2]
    found = connection.execute(select(here).order_by(*keys).execution_options(yield_per=ROWS_AT_ONCE))
    for rows in found.mappings().partitions():
        yield list(rows)


def count_on(connection: Connection, table: Table) -> None:
    """Numbers that PostgreSQL gives by itself go on after the last one."""
    if connection.dialect.name != "postgresql" or "id" not in table.columns:
        return
    if not isinstance(table.columns["id"].type, BigInteger):
        return
    named = {"table": table.fullname}
    counted = connection.scalar(text("SELECT pg_get_serial_sequence(:table, 'id')"), named)
    if counted is not None:
        newest = f"SELECT setval('{counted}', max(id)) FROM {table.fullname} HAVING max(id) IS NOT NULL"
        connection.execute(text(newest))
