"""The SQLite database: durable settings, immediate write transactions, migrations at start."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import DateTime, Dialect, Engine, MetaData, TypeDecorator, create_engine, event
from sqlalchemy.orm import DeclarativeBase, Session

from server.archive.disk import disk_in_words, is_frozen
from server.archive.news import News
from server.errors import StillairError
from server.locations import migrations_folder

BUSY_TIMEOUT_MS = 10_000
BEGIN_OPTION = "sqlite_begin"
AFTER_COMMIT, NEWS = "after commit", "news"
CONNECTION_SETTINGS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
)
READING_SETTINGS = ("PRAGMA foreign_keys = ON", "PRAGMA query_only = ON")
TOO_NEW = (
    "The archive {file} is of version {found}, which a newer Stillair wrote (this one knows up to {newest}); "
    "open it with that one. Nothing in it was touched."
)
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Base of all typed tables; constraints get stable names, so that migrations can name them."""

    metadata = MetaData(naming_convention=NAMES)


class UtcDateTime(TypeDecorator[dt.datetime]):
    """A moment in UTC; SQLite keeps it without a zone, Python sees it with one."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Aware moment to naive UTC."""
        return value.astimezone(dt.UTC).replace(tzinfo=None) if value is not None else None

    def process_result_value(self, value: Any, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Naive UTC to an aware moment."""
        return value.replace(tzinfo=dt.UTC) if value is not None else None


def after_commit(session: Session, call: Callable[[], None]) -> None:
    """Have something done when the open write transaction is committed, and not at all when it is rolled back."""
    session.info.setdefault(AFTER_COMMIT, []).append(call)


def tell_news(session: Session, day_id: int | None) -> None:
    """Let pages know of a change when it is committed."""
    news: News | None = session.info.get(NEWS)
    if news is not None:
        after_commit(session, lambda: news.tell(day_id))


def now_utc() -> dt.datetime:
    """The present moment in UTC."""
    return dt.datetime.now(dt.UTC)


class Database:
    """One SQLite file. `reading` never blocks a writer; `writing` takes the write lock when it opens.

    A transaction that reads first and writes later can fail when another writer comes between; BEGIN
    IMMEDIATE waits for its turn instead, `busy_timeout_ms` at most. With `read_only` every change is refused.

    Both raise DiskFullError and ArchiveBusyError, a sentence for a person, where the disk or the file is to blame.
    """

    def __init__(self, file: Path, *, read_only: bool = False, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> None:
        self.file = file
        self.busy_timeout_ms = busy_timeout_ms
        self.news = News()
        self._read_only = read_only
        frozen = read_only and is_frozen(file)
        address = f"/file:{quote(str(file))}?immutable=1&uri=true" if frozen else f"/{file}"
        self._engine = create_engine(f"sqlite+pysqlite://{address}")
        event.listen(self._engine, "connect", self._set_up_connection)
        event.listen(self._engine, "begin", _begin)
        self._writing_engine = self._engine.execution_options(**{BEGIN_OPTION: "IMMEDIATE"})

    @property
    def engine(self) -> Engine:
        """The engine, for migrations and checks."""
        return self._engine

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that only reads."""
        with disk_in_words(), Session(self._engine) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session that is committed at the end, or rolled back whole when anything is raised."""
        with disk_in_words(), Session(self._writing_engine, info={NEWS: self.news}) as session:
            with session.begin():
                session.connection()  # the lock is taken here, not at the first statement
                yield session
            for call in session.info.get(AFTER_COMMIT, ()):
                call()

    def version(self) -> str | None:
        """The schema's version as it stands in the file; None in an empty one."""
        from alembic.migration import MigrationContext

        with disk_in_words(), self._engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()

    def copy_to(self, target: Path) -> None:
        """A whole, consistent copy of the file as it is now, whoever writes meanwhile."""
        with closing(sqlite3.connect(self.file)) as source, closing(sqlite3.connect(target)) as copy:
            source.backup(copy)

    def as_one_file(self) -> None:
        """Bring everything into the file itself and close it: nothing lies beside it then."""
        self.close()
        with closing(sqlite3.connect(self.file)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")

    def check_known(self) -> tuple[str | None, str | None]:
        """The file's version and the newest one. Raises StillairError for a file that a newer program wrote."""
        from alembic.script import ScriptDirectory

        scripts = ScriptDirectory.from_config(_alembic_config())
        found, newest = self.version(), scripts.get_current_head()
        if found is not None and found not in {script.revision for script in scripts.walk_revisions()}:
            raise StillairError(TOO_NEW.format(file=self.file, found=found, newest=newest))
        return found, newest

    def migrate(self) -> None:
        """Bring the tables to the newest form, after a copy of the old one beside the file.

        Raises StillairError for a file that a newer program wrote; nothing is touched then.
        """
        from alembic import command

        found, newest = self.check_known()
        if found == newest:
            return
        if found is not None:
            self.copy_to(self._copy_name(found))
        config = _alembic_config()
        with disk_in_words(), self._writing_engine.connect() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def _copy_name(self, version: str) -> Path:
        moment = now_utc().strftime("%Y-%m-%d %H%M%S")
        return self.file.with_name(f"{self.file.stem} of version {version}, {moment}{self.file.suffix}")

    def close(self) -> None:
        """Give the file back."""
        self._engine.dispose()


    def _set_up_connection(self, connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not open transactions of its own
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {self.busy_timeout_ms}")
        for setting in READING_SETTINGS if self._read_only else CONNECTION_SETTINGS:
            cursor.execute(setting)
        cursor.close()


def _alembic_config() -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    return config


def _begin(connection: Any) -> None:
    connection.exec_driver_sql(f"BEGIN {connection.get_execution_options().get(BEGIN_OPTION, 'DEFERRED')}")
