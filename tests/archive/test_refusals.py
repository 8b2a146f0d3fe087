"""A full disk, a database that others hold, an archive of a newer program: one sentence, nothing half there."""

from __future__ import annotations

import errno
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import select

from server.app import create_app
from server.archive.archive import Archive
from server.archive.disk import BUSY_NOW, FULL_NOW
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import RawFile
from server.days.service import IncomingDay, keep_day, newest_revision
from server.errors import ArchiveBusyError, DiskFullError, StillairError
from server.locations import sample_day_folders
from server.results.service import keep_result, write_result
from server.results.tables import FittedResult
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of

TUS = {"Tus-Resumable": "1.0.0", "Upload-Length": "10"}


def disk_is_full(*_: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_held_database_is_said_so(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path), KINDS)
    app.state.archive.database.busy_timeout_ms = 50
    with client_of(app) as client, closing(sqlite3.connect(tmp_path / "archive.sqlite3")) as other:
        other.isolation_level = None
        other.execute("BEGIN IMMEDIATE")
        answer = client.post("/uploads", headers=TUS)
        assert (answer.status_code, answer.json()) == (503, {"error": BUSY_NOW})
        assert client.get("/").status_code == 200
        other.execute("ROLLBACK")
        assert client.post("/uploads", headers=TUS).status_code == 201


def test_the_lock_is_waited_for_and_no_longer(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.database.busy_timeout_ms = 50
    archive.open()
    with closing(sqlite3.connect(tmp_path / "archive.sqlite3")) as other:
        other.isolation_level = None
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveBusyError, match="try again"), archive.database.writing() as session:
            session.scalar(select(RawFile.sha256))
    archive.close()


def test_a_full_disk_while_a_result_is_kept_keeps_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = Archive(tmp_path / "data")
    archive.open()
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay("A day", None, sample_day_folders()[0], "a day"))
    write_result(made_up_day_result("AB"), tmp_path / "result.zip")
    kept = {file for file in (tmp_path / "data" / "raw").rglob("*") if file.is_file()}
    monkeypatch.setattr(os, "fsync", disk_is_full)
    with pytest.raises(DiskFullError, match="is full"), archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, day_id := 1), tmp_path / "result.zip")
    monkeypatch.undo()
    with archive.database.reading() as session:
        assert session.scalars(select(FittedResult)).all() == []
        assert len(session.scalars(select(RawFile)).all()) == len(kept)
    assert {file for file in (tmp_path / "data" / "raw").rglob("*") if file.is_file()} == kept
    with archive.database.writing() as session:
        assert keep_result(archive, session, newest_revision(session, day_id), tmp_path / "result.zip").id == 1
    assert day is not None
    archive.close()


def test_a_full_database_is_said_so(tmp_path: Path) -> None:
    """SQLite's own limit of pages stands for the disk's end: it gives the same answer (SQLITE_FULL)."""
    archive = Archive(tmp_path)
    archive.open()

    def fill() -> None:
        with archive.database.writing() as session:
            session.connection().exec_driver_sql("PRAGMA max_page_count = 1")
            session.add_all(RawFile(sha256=f"{number:064d}", size_bytes=1) for number in range(2000))

    with pytest.raises(DiskFullError, match="make room"):
        fill()
    with archive.database.reading() as session:
        assert session.scalars(select(RawFile)).all() == []
    archive.close()


def test_507_for_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = create_app(Settings(data_folder=tmp_path), KINDS)
    with client_of(app) as client:
        monkeypatch.setattr("server.uploads.parts.sync_folder", disk_is_full)
        answer = client.post("/uploads", headers=TUS)
        assert (answer.status_code, answer.json()) == (507, {"error": FULL_NOW})


def test_a_newer_archive_is_left_alone(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.open()
    archive.close()
    with closing(sqlite3.connect(tmp_path / "archive.sqlite3")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(StillairError, match="which a newer Stillair wrote"):
        ReadOnlyArchive(tmp_path)


def test_what_a_killed_copy_left_behind_is_swept_up(tmp_path: Path) -> None:
    archive = Archive(tmp_path)
    archive.open()
    archive.close()
    (tmp_path / "raw" / "ab").mkdir(parents=True)
    (tmp_path / "raw" / "ab" / "incoming-x").write_bytes(b"half")
    archive = Archive(tmp_path)
    archive.open()
    assert list((tmp_path / "raw" / "ab").iterdir()) == []
    archive.close()
