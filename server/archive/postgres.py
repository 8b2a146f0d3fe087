"""The archive's database on a PostgreSQL server: one writer at a time, readings of one moment, one server at a time."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, NullPool, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError

from server.archive.address import Address
from server.archive.disk import disk_in_words
from server.archive.sqlite_file import BEGIN_OPTION, name_copy, room_for_copy
from server.errors import ArchiveBusyError, StillairError

LOCKS = 0x5374696C  # advisory locks of one database are told apart by this number and the next
WRITING, IN_USE, SAMPLES = 1, 2, 3
CONNECT_TIMEOUT_S = 10
# a network that goes in silence is noticed within a minute, here and on the server: its own default is two hours
ALIVE = {"keepalives_idle": 30, "keepalives_interval": 10, "keepalives_count": 3, "tcp_user_timeout": 60_000}
POOLED, MORE = 5, 40
READ_BEGINS = "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"
THERE = (
    "SELECT set_config('tcp_keepalives_idle', '30', false), set_config('tcp_keepalives_interval', '10', false), "
    "set_config('tcp_keepalives_count', '3', false), set_config('tcp_user_timeout', '60000', false)"
)
OURS = "SELECT pg_backend_pid(), backend_start FROM pg_stat_activity WHERE pid = pg_backend_pid()"
END_OURS = "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE pid = :pid AND backend_start = :began"
DURABLE = "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'"
TAKEN = (
    "The database {shown} is in use by another Stillair; end that one, or name another database with STILLAIR_DATABASE."
)
LOST = (
    "Another Stillair has taken the database over while this one could not reach it; end one of the two. "
    "Nothing was changed."
)
# Texts compare and sort byte by byte, as SQLite's do, whatever language the server speaks, and are of any length;
# whole numbers have 64 bits.
OTHER_COLUMNS = """
SELECT quote_ident(table_name), quote_ident(column_name), data_type = 'integer' FROM information_schema.columns
WHERE table_schema = current_schema() AND (data_type IN ('integer', 'character varying')
OR (data_type = 'text' AND collation_name IS DISTINCT FROM 'C'))
ORDER BY table_name, ordinal_position
"""
TRIGGERS = """
SELECT quote_ident(tgname), pg_get_triggerdef(oid) FROM pg_trigger
WHERE tgrelid = to_regclass(:table) AND NOT tgisinternal
"""


def engine_of(address: Address, **options: Any) -> Engine:
    """An engine of the address, with the driver that comes with the packages."""
    assert address.shown
    url = make_url(address.url).set(drivername="postgresql+psycopg")
    named = {"connect_timeout": CONNECT_TIMEOUT_S, "application_name": "stillair"}
    named |= {name: value for name, value in ALIVE.items() if name not in url.query}
    engine = create_engine(url, connect_args=named, hide_parameters=True, **options)
    event.listen(engine, "connect", partial(_tell, THERE))
    return engine


def lock_sentence(which: int, timeout_ms: int) -> str:
    """Statements that begin a transaction of the one writer, which waits for its turn.

    What it reads afterwards is what the writer before it has committed; so the chain of events stays one line.
    """
    return (
        "SET TRANSACTION ISOLATION LEVEL READ COMMITTED, READ WRITE; "
        f"SET LOCAL lock_timeout = {timeout_ms}; SELECT pg_advisory_xact_lock({LOCKS}, {which})"
    )


class InUse:
    """One server a database, as long as its connection lasts; taken again when that was lost and nobody came."""

    def __init__(self, address: Address) -> None:
        """Take the database. Raises StillairError when another server has it."""
        self._shown = address.shown
        self._engine = engine_of(address, poolclass=NullPool, isolation_level="AUTOCOMMIT")
        self._connection: Connection | None = None
        self._backend: tuple[int, Any] | None = None  # the server's end of it: number, since when
        with disk_in_words():
            self._take(TAKEN.format(shown=self._shown))

    def check(self) -> None:
        """Raise ArchiveBusyError when another server has come between."""
        try:
            if self._connection is not None:
                self._connection.exec_driver_sql("SELECT 1")
                return
        except DBAPIError:
            self._drop()
        self._take(LOST)

    def release(self) -> None:
        """Let the database go."""
        self._drop()
        self._engine.dispose()

    def _take(self, refusal: str) -> None:
        connection = self._engine.connect()
        try:
            if not (self._locked(connection) or (self._end_own(connection) and self._locked(connection))):
                raise ArchiveBusyError(refusal)
            self._backend = tuple(connection.execute(text(OURS)).one())
        except BaseException:
            connection.close()
            raise
        self._connection = connection

    @staticmethod
    def _locked(connection: Connection) -> bool:
        return connection.scalar(text(f"SELECT pg_try_advisory_lock({LOCKS}, {IN_USE})")) is True

    def _end_own(self, connection: Connection) -> bool:
        """End what the server still has of a connection that was lost here: no other Stillair holds that lock."""
        if self._backend is None:
            return False
        pid, began = self._backend
        return connection.scalar(text(END_OURS), {"pid": pid, "began": began}) is True

    def _drop(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.invalidate()
            connection.close()


class PostgresServer:
    """The engine of an address; `file` is asked of a SQLite archive alone."""

    def __init__(self, address: Address, *, read_only: bool, busy_timeout_ms: int) -> None:
        self.address = address
        self.busy_timeout_ms = busy_timeout_ms
        self._read_only = read_only
        self._in_use: InUse | None = None
        self.engine = engine_of(address, pool_pre_ping=True, pool_size=POOLED, max_overflow=MORE)
        event.listen(self.engine, "connect", partial(_tell, DURABLE))
        event.listen(self.engine, "begin", self._begin)

    @property
    def file(self) -> Path:
        """There is none."""
        raise StillairError(f"The archive is in the database {self.shown}, not in a file.")

    @property
    def shown(self) -> str:
        """How sentences name it."""
        return self.address.shown

    def exists(self) -> bool:
        """Whether there is an archive in it."""
        with disk_in_words(), self.engine.connect() as connection:
            return connection.scalar(text("SELECT to_regclass('alembic_version') IS NOT NULL")) is True

    def copy_to(self, target: Path) -> None:
        """A copy of everything at one moment, as a SQLite file of the same version: named so when it is whole."""
        from server.archive.copying import copy_into_file

        unfinished = room_for_copy(target)
        with disk_in_words(), self.engine.connect() as connection:
            copy_into_file(connection, unfinished)
        name_copy(unfinished, target)

    def copy_place(self, name: str) -> Path:
        """Where a copy of an older version goes: into the data folder."""
        return self.address.folder / name

    @contextmanager
    def migrating(self, connection: Connection) -> Iterator[None]:
        """Around migrations: all of them are kept or, whatever happens, none."""
        with connection.begin():
            yield

    def open(self) -> None:
        """Take the database for this server. Raises StillairError when another has it."""
        self._in_use = self._in_use or InUse(self.address)

    def mark(self) -> None:
        """Say in the data folder where its archive is."""
        self.address.leave_mark()

    def close(self) -> None:
        """Give the database back."""
        held, self._in_use = self._in_use, None
        if held is not None:
            held.release()
        self.engine.dispose()

    def _begin(self, connection: Connection) -> None:
        if self._read_only or connection.get_execution_options().get(BEGIN_OPTION) != "IMMEDIATE":
            connection.exec_driver_sql(READ_BEGINS)
            return
        connection.exec_driver_sql(lock_sentence(WRITING, self.busy_timeout_ms))
        if self._in_use is not None:
            self._in_use.check()


def settle_columns(connection: Connection) -> None:
    """Columns that hold and sort what SQLite's do. A seal is off while its table changes."""
    columns: dict[str, list[str]] = {}
    for table, column, is_number in connection.execute(text(OTHER_COLUMNS)).all():
        kind = "bigint" if is_number else 'text COLLATE "C"'
        columns.setdefault(table, []).append(f"ALTER COLUMN {column} TYPE {kind}")
    for table, changes in columns.items():
        seals = connection.execute(text(TRIGGERS), {"table": table}).all()
        for name, _ in seals:
            connection.exec_driver_sql(f"DROP TRIGGER {name} ON {table}")
        connection.exec_driver_sql(f"ALTER TABLE {table} {', '.join(changes)}")
        for _, made_by in seals:
            connection.exec_driver_sql(made_by)


def _tell(sentence: str, connection: Any, _record: Any) -> None:
    """Tell the server something about a connection that is new."""
    with connection.cursor() as cursor:
        cursor.execute(sentence)
    connection.commit()
