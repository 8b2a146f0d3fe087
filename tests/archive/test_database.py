"""The database: what SQLite was told, many writers at once, and migrations that match the tables."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import select, text
from sqlalchemy.exc import IntegrityError, OperationalError, StatementError

import server.correlation.tables
import server.days.tables
import server.predictions.tables
import server.results.tables
import server.tufts.tables
import server.uploads.tables
from server.archive.archive import Archive
from server.archive.database import Base, now_utc
from server.archive.disk import NUL_NOW
from server.archive.events import chain_faults, record
from server.archive.jobs import add_job, find_job
from server.archive.sqlite_file import UNFINISHED
from server.archive.tables import Event, Job, RawFile
from server.days.service import newest_revision, revision_files
from server.days.tables import ColumnChoice, RevisionFile
from server.errors import NotFoundError, StillairError
from server.locations import migrations_folder
from server.results.service import latest_result
from server.tufts.tables import TuftPhoto

WRITERS, WRITES = 4, 50


@pytest.fixture
def archive(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = Archive(tmp_path)
    made.open()
    yield made
    made.close()


@pytest.mark.parametrize(
    ("setting", "value"),
    [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 10000)],
)
def test_connections_are_durable(archive: Archive, setting: str, value: object) -> None:
    with archive.database.reading() as session:
        assert session.scalar(text(f"PRAGMA {setting}")) == value


@pytest.mark.usefixtures("engine")
def test_many_writers_lose_nothing(archive: Archive) -> None:
    """Read, then write, from several threads: every one gets its turn (deferred transactions would fail)."""
    with archive.database.writing() as session:
        add_job(session, "count", "", {}, "one")
    failed: list[Exception] = []

    def count() -> None:
        for _ in range(WRITES):
            try:
                with archive.database.writing() as session:
                    job = find_job(session, "one")
                    job.starts += 1
            except Exception as error:
                failed.append(error)

    threads = [threading.Thread(target=count) for _ in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with archive.database.reading() as session:
        assert (failed, find_job(session, "one").starts) == ([], WRITERS * WRITES)


@pytest.mark.usefixtures("engine")
def test_what_is_raised_rolls_everything_back(archive: Archive) -> None:
    def half_done() -> None:
        with archive.database.writing() as session:
            add_job(session, "x", "", {}, "gone")
            raise KeyError

    with pytest.raises(KeyError):
        half_done()
    with archive.database.reading() as session, pytest.raises(NotFoundError):
        find_job(session, "gone")


@pytest.mark.usefixtures("engine")
def test_a_state_that_is_none_is_refused(archive: Archive) -> None:
    with pytest.raises(IntegrityError), archive.database.writing() as session:
        session.add(Job(id="x", kind="x", label="", payload={}, state="perhaps"))


@pytest.mark.usefixtures("engine")
def test_moments_keep_their_zone(archive: Archive) -> None:
    before = now_utc()
    with archive.database.writing() as session:
        add_job(session, "x", "", {"a": [1, 2]}, "one")
    with archive.database.reading() as session:
        job = session.scalars(select(Job)).one()
        assert before <= job.created_at <= now_utc()
        assert job.payload == {"a": [1, 2]}


@pytest.mark.usefixtures("engine")
def test_a_nul_sign_is_refused_in_the_same_words(archive: Archive) -> None:
    """A server cannot keep one, and what a file kept could never be moved to a server."""
    with pytest.raises(StillairError) as refused, archive.database.writing() as session:
        record(session, who="Ana", kind="note", subject="a\0b")
    assert str(refused.value) == NUL_NOW
    with pytest.raises(StillairError) as refused, archive.database.reading() as session:
        session.scalar(select(Event).where(Event.who == "\0"))
    assert str(refused.value) == NUL_NOW
    with pytest.raises(StillairError, match="NUL sign"), archive.database.writing() as session:
        session.add_all(RawFile(sha256=sign * 64, size_bytes=1) for sign in "a\0")
    with archive.database.writing() as session:  # several rows by one statement, whose numbers the database gives
        session.add_all(ColumnChoice(column_name=name, role="time", who="Ana") for name in "ab")
    with archive.database.writing() as session:  # within JSON it is an escape, on both
        add_job(session, "x", "", {"text": "a\0b"}, "one")


def test_a_path_that_leaves_its_folder_is_neither_kept_nor_given_out(archive: Archive) -> None:
    """Whoever wrote it there: as a restored copy that somebody tampered with may have it."""
    digest = "a" * 64
    with archive.database.writing() as session:
        for told in (
            f"INSERT INTO raw_files VALUES ('{digest}', 1, '2026-05-09')",
            f"INSERT INTO days VALUES (1, 'a', NULL, '{digest}', 'a', NULL, '2026-05-09')",
            f"INSERT INTO day_revisions VALUES (1, 1, 1, '{digest}', '', '', '2026-05-09')",
            f"INSERT INTO revision_files VALUES (1, '../outside.csv', '{digest}')",
        ):
            session.execute(text(told))
    with archive.database.reading() as session, pytest.raises(StillairError, match="leaves its folder"):
        revision_files(session, 1)
    with pytest.raises(StatementError, match="leaves its folder"), archive.database.writing() as session:
        session.add(RevisionFile(revision_id=1, path="/etc/outside.csv", sha256=digest))
    photo = TuftPhoto(day_id=1, sha256=digest, name="a.jpg", path="../a.jpg", width_px=1, height_px=1, who="")
    with pytest.raises(StatementError, match="leaves its folder"), archive.database.writing() as session:
        session.add(photo)


def test_migrations_make_the_tables_that_the_code_has(archive: Archive) -> None:
    assert server.correlation.tables
    assert server.days.tables
    assert server.predictions.tables
    assert server.results.tables
    assert server.tufts.tables
    with archive.database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, Base.metadata) == []


def at_version(folder: Path, version: str) -> None:
    """An empty archive as an older program made it."""
    from server.archive.database import Database

    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    database = Database(folder / "archive.sqlite3")
    with database.engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, version)
        connection.commit()
    database.close()


def test_days_of_the_first_schema_become_first_revisions(tmp_path: Path) -> None:
    """A day, its files and its result of version 0001 open as revision 1, after a copy; the chain begins with them."""
    at_version(tmp_path, "0001")
    sha256 = "a" * 64
    with sqlite3.connect(tmp_path / "archive.sqlite3") as old:
        old.execute("INSERT INTO raw_files VALUES (?, 3, '2026-01-01 00:00:00')", (sha256,))
        old.execute(
            "INSERT INTO days VALUES (7, 'Long apron', '2026-05-09', ?, 'a.zip', NULL, '2026-05-10 00:00:00')",
            ("c" * 64,),
        )
        old.execute("INSERT INTO day_files VALUES (7, 'testday.toml', ?)", (sha256,))
        old.execute("INSERT INTO results VALUES (3, 7, ?, '0.1.0', '[]', '2026-05-10 00:00:00')", (sha256,))
    old.close()
    archive = Archive(tmp_path)
    archive.open()
    with archive.database.reading() as session:
        revision = newest_revision(session, 7)
        assert (revision.number, revision.content_sha256) == (1, "c" * 64)
        assert revision_files(session, revision.id) == {"testday.toml": sha256}
        row = latest_result(session, 7)
        assert row is not None
        assert (row.id, row.revision_id, row.moved) == (3, revision.id, [])
        assert [event.kind for event in session.scalars(select(Event))] == ["day-found"]
        assert list(chain_faults(session)) == []
    archive.close()
    (copy,) = tmp_path.glob("archive of version 0001*.sqlite3")
    with sqlite3.connect(copy) as kept:
        assert kept.execute("SELECT path FROM day_files").fetchall() == [("testday.toml",)]
    kept.close()


def test_a_migration_that_breaks_off_leaves_the_archive_as_it_was(tmp_path: Path) -> None:
    """A table in the way of a late step stands for a kill there; the copy beside is whole and has no other name."""
    at_version(tmp_path, "0002")
    with sqlite3.connect(tmp_path / "archive.sqlite3") as old:
        old.execute("CREATE TABLE accounts (id INTEGER)")
    old.close()
    (tmp_path / UNFINISHED).write_bytes(b"half a copy")
    archive = Archive(tmp_path)
    with pytest.raises(OperationalError, match="accounts already exists"):
        archive.open()
    archive.close()
    assert len(list(tmp_path.glob("*.sqlite3"))) == 2
    for file in tmp_path.glob("archive*.sqlite3"):
        with sqlite3.connect(file) as kept:
            assert kept.execute("SELECT version_num FROM alembic_version").fetchall() == [("0002",)]
            assert kept.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        kept.close()


def test_a_newer_archive_is_left_alone(tmp_path: Path) -> None:
    at_version(tmp_path, "head")
    with sqlite3.connect(tmp_path / "archive.sqlite3") as newer:
        newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.close()
    archive = Archive(tmp_path)
    with pytest.raises(StillairError, match="version 9999, which a newer Stillair wrote"):
        archive.open()
    archive.close()
    assert len(list(tmp_path.glob("*.sqlite3"))) == 1


@pytest.mark.parametrize("table", ["day_revisions", "revision_files", "results"])
def test_what_is_kept_is_never_altered(archive: Archive, table: str) -> None:
    with archive.database.engine.connect() as connection:
        names = {row[0] for row in connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))}
    assert {f"{table}_no_update", f"{table}_no_delete"} <= names


def test_a_folder_has_one_server(archive: Archive) -> None:
    with pytest.raises(StillairError, match="in use by another Stillair"):
        Archive(archive.folder)
    archive.close()
    again = Archive(archive.folder)
    again.open()
    again.close()


@pytest.mark.usefixtures("engine")
def test_opening_sweeps_up_interrupted_uploads(archive: Archive) -> None:
    (archive.incoming("orphan") / "half.zip").write_bytes(b"PK")
    waiting = archive.incoming("waiting")
    with archive.database.writing() as session:
        add_job(session, "x", "", {}, "waiting")
    archive.open()
    assert list((archive.folder / "incoming").iterdir()) == [waiting]
