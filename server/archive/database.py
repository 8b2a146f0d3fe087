"""The archive's database, in a SQLite file or on a PostgreSQL server: sessions, migrations at start."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from sqlalchemy import BigInteger, Connection, DateTime, Dialect, Engine, Integer, MetaData, String, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Session

from server.archive.address import Address
from server.archive.disk import disk_in_words
from server.archive.news import News
from server.archive.sqlite_file import BEGIN_OPTION, SqliteFile
from server.errors import StillairError
from server.locations import migrations_folder
from server.testday.inner_paths import leaves_folder

if TYPE_CHECKING:
    from server.archive.postgres import PostgresServer

BUSY_TIMEOUT_MS = 10_000
AFTER_COMMIT, NEWS = "after commit", "news"
TOO_NEW = (
    "The archive {file} is of version {found}, which a newer Stillair wrote (this one knows up to {newest}); "
    "open it with that one. Nothing in it was touched."
)
LEAVES = "A file of a day has the path {path}, which leaves its folder; nothing is read or written there."
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
    # SQLite's INTEGER has 64 bits, PostgreSQL's 32: what is asked for may be any number that the first can hold
    type_annotation_map: ClassVar[dict[Any, Any]] = {int: BigInteger().with_variant(Integer(), "sqlite")}


class UtcDateTime(TypeDecorator[dt.datetime]):
    """A moment in UTC; the database keeps it without a zone, Python sees it with one."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Aware moment to naive UTC."""
        return value.astimezone(dt.UTC).replace(tzinfo=None) if value is not None else None

    def process_result_value(self, value: Any, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Naive UTC to an aware moment."""
        return value.replace(tzinfo=dt.UTC) if value is not None else None


class InnerPath(TypeDecorator[str]):
    """A path in a folder; one that leaves it is neither kept nor given out, whoever wrote it into the database."""

    impl = String
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """On its way in."""
        return inner_path(value) if value is not None else None

    def process_result_value(self, value: Any, dialect: Dialect) -> str | None:  # noqa: ARG002
        """On its way out."""
        return inner_path(value) if value is not None else None

    def coerce_compared_value(self, op: Any, value: Any) -> Any:  # noqa: ARG002
        """What is searched for need be no path."""
        return String()


def inner_path(named: str) -> str:
    """The path. Raises StillairError where it leaves its folder."""
    if leaves_folder(named):
        raise StillairError(LEAVES.format(path=repr(named[:80])))
    return named


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
    """A SQLite file, or a PostgreSQL database. `reading` sees one moment and never blocks a writer; `writing` takes the
    one write lock when it opens, and waits for it `busy_timeout_ms` at most. With `read_only` every change is refused.

    Both raise DiskFullError and ArchiveBusyError, a sentence for a person, where the disk or the database is to blame.
    """

    def __init__(
        self, place: Path | Address, *, read_only: bool = False, busy_timeout_ms: int = BUSY_TIMEOUT_MS
    ) -> None:
        self._kept = _kept_at(place, read_only, busy_timeout_ms)
        self.news = News()
        self._engine = self._kept.engine
        self._writing_engine = self._engine.execution_options(**{BEGIN_OPTION: "IMMEDIATE"})

    @property
    def engine(self) -> Engine:
        """The engine, for migrations and checks."""
        return self._engine

    @property
    def file(self) -> Path:
        """The SQLite file. Raises StillairError where the archive is elsewhere."""
        return self._kept.file

    @property
    def shown(self) -> str:
        """The file or the address, without a password, as sentences name it."""
        return self._kept.shown

    @property
    def busy_timeout_ms(self) -> int:
        """How long a writer waits for its turn."""
        return self._kept.busy_timeout_ms

    @busy_timeout_ms.setter
    def busy_timeout_ms(self, value: int) -> None:
        self._kept.busy_timeout_ms = value

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

    def exists(self) -> bool:
        """Whether there is an archive."""
        return self._kept.exists()

    def take(self) -> None:
        """Take it for this server, where the folder's lock is not enough. Raises StillairError when it is taken."""
        self._kept.open()

    def mark(self) -> None:
        """Say in the data folder where its archive is, when that is elsewhere."""
        self._kept.mark()

    def version(self) -> str | None:
        """The schema's version as it stands; None in an empty one."""
        with disk_in_words(), self._engine.connect() as connection:
            return version_of(connection)

    def copy_to(self, target: Path) -> None:
        """A whole, consistent copy of everything as it is now, as a SQLite file, whoever writes meanwhile."""
        self._kept.copy_to(target)

    def as_one_file(self) -> None:
        """Bring everything into the SQLite file itself and close it: nothing lies beside it then."""
        self.close()
        if isinstance(self._kept, SqliteFile):
            self._kept.as_one_file()

    def check_known(self) -> tuple[str | None, str | None]:
        """The archive's version and the newest one. Raises StillairError for one that a newer program wrote."""
        from alembic.script import ScriptDirectory

        scripts = ScriptDirectory.from_config(alembic_config())
        found, newest = self.version(), scripts.get_current_head()
        if found is not None and found not in {script.revision for script in scripts.walk_revisions()}:
            raise StillairError(TOO_NEW.format(file=self.shown, found=found, newest=newest))
        return found, newest

    def migrate(self, *, keep_old: bool = True) -> None:
        """Bring the tables to the newest form, after a copy of the old one beside the file where that shall be kept.

        Raises StillairError for an archive that a newer program wrote; nothing is touched then.
        """
        found, newest = self.check_known()
        if found == newest:
            return
        if found is not None and keep_old:
            self.copy_to(self._kept.copy_place(_copy_name(found)))
        with disk_in_words(), self._writing_engine.connect() as connection, self._kept.migrating(connection):
            upgrade(connection)

    def close(self) -> None:
        """Give the database back."""
        self._kept.close()


def version_of(connection: Connection) -> str | None:
    """The schema's version; None where there are no tables."""
    from alembic.migration import MigrationContext

    return MigrationContext.configure(connection).get_current_revision()


def upgrade(connection: Connection, version: str = "head") -> None:
    """Bring the tables of an open connection to a version."""
    from alembic import command

    config = alembic_config()
    config.attributes["connection"] = connection
    command.upgrade(config, version)


def alembic_config() -> Any:
    """Where the migrations are."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    return config


def _kept_at(place: Path | Address, read_only: bool, busy_timeout_ms: int) -> SqliteFile | PostgresServer:
    if isinstance(place, Path):
        return SqliteFile(place, read_only=read_only, busy_timeout_ms=busy_timeout_ms)
    from server.archive.postgres import PostgresServer

    return PostgresServer(place, read_only=read_only, busy_timeout_ms=busy_timeout_ms)


def _copy_name(version: str) -> str:
    return f"archive of version {version}, {now_utc():%Y-%m-%d %H%M%S}.sqlite3"
