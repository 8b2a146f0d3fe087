"""The database: what SQLite was told, many writers at once, and migrations that match the tables."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import inspect, select, text
from sqlalchemy.exc import IntegrityError

import server.days.tables
import server.results.tables
from server.archive.archive import Archive
from server.archive.database import Base, now_utc
from server.archive.jobs import add_job, find_job
from server.archive.tables import Job
from server.errors import NotFoundError, StillairError
from server.locations import migrations_folder

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


def test_what_is_raised_rolls_everything_back(archive: Archive) -> None:
    def half_done() -> None:
        with archive.database.writing() as session:
            add_job(session, "x", "", {}, "gone")
            raise KeyError

    with pytest.raises(KeyError):
        half_done()
    with archive.database.reading() as session, pytest.raises(NotFoundError):
        find_job(session, "gone")


def test_a_state_that_is_none_is_refused(archive: Archive) -> None:
    with pytest.raises(IntegrityError), archive.database.writing() as session:
        session.add(Job(id="x", kind="x", label="", payload={}, state="perhaps"))


def test_moments_keep_their_zone(archive: Archive) -> None:
    before = now_utc()
    with archive.database.writing() as session:
        add_job(session, "x", "", {"a": [1, 2]}, "one")
    with archive.database.reading() as session:
        job = session.scalars(select(Job)).one()
        assert before <= job.created_at <= now_utc()
        assert job.payload == {"a": [1, 2]}


def test_migrations_make_the_tables_that_the_code_has(archive: Archive) -> None:
    assert server.days.tables
    assert server.results.tables
    with archive.database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, Base.metadata) == []


def test_migrations_go_down_and_up_again(archive: Archive) -> None:
    config = Config()
    config.set_main_option("script_location", str(migrations_folder()))
    with archive.database.engine.connect() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "base")
        assert set(inspect(connection).get_table_names()) == {"alembic_version"}
    archive.open()
    assert "days" in inspect(archive.database.engine).get_table_names()


def test_a_folder_has_one_server(archive: Archive) -> None:
    with pytest.raises(StillairError, match="in use by another Stillair"):
        Archive(archive.folder)
    archive.close()
    again = Archive(archive.folder)
    again.open()
    again.close()


def test_opening_sweeps_up_interrupted_uploads(archive: Archive) -> None:
    (archive.incoming("orphan") / "half.zip").write_bytes(b"PK")
    waiting = archive.incoming("waiting")
    with archive.database.writing() as session:
        add_job(session, "x", "", {}, "waiting")
    archive.open()
    assert list((archive.folder / "incoming").iterdir()) == [waiting]
