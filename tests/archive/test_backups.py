"""Backups: whole while the archive is written to, shared files once, put back equal, and nothing half there."""

from __future__ import annotations

import datetime as dt
import json
import os
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import select

from server.archive.archive import Archive
from server.archive.backups import DATABASE, MANIFEST, back_up, copies_in, restore
from server.archive.database import Database
from server.archive.events import head, record
from server.archive.folder_lock import LOCK_FILE
from server.archive.jobs import JobRunner
from server.archive.raw_files import sha256_of
from server.archive.tables import Event, Job, RawFile
from server.errors import NotFoundError, StillairError
from server.history.backup_job import BACKUP_KINDS, BackupClock, is_due, keep_backup, queue_backup


def quiet(fraction: float, text: str) -> None:
    assert 0.0 <= fraction <= 1.0
    assert text


def keep(archive: Archive, text: str) -> str:
    """Keep a file of these words, with its event."""
    file = archive.scratch / f"{threading.get_ident()}.txt"
    file.write_text(text)
    with archive.database.writing() as session:
        digest = archive.raw.add(session, file).sha256
        record(session, who="Ana", kind="file-received", subject=text)
    return digest


Elsewhere = Callable[[], None]


@pytest.fixture
def elsewhere(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Elsewhere:
    """Names another, empty database for the archive that is made next, where the test's is on a server."""

    def name_another() -> None:
        if os.environ.get("STILLAIR_DATABASE"):
            monkeypatch.setenv("STILLAIR_DATABASE", request.getfixturevalue("postgres").new_database(empty=True))

    return name_another


def files_of(folder: Path) -> dict[str, str]:
    """Raw files of a data folder: name → the hash of its bytes."""
    return {file.name: sha256_of(file) for file in (folder / "raw").rglob("*") if file.is_file()}


@pytest.mark.usefixtures("engine")
def test_a_backup_put_back_is_the_archive(archive: Archive, tmp_path: Path, elsewhere: Elsewhere) -> None:
    for number in range(5):
        keep(archive, f"log {number}")
    made = back_up(archive.folder, tmp_path / "disk", 3, quiet)
    assert (made.files, made.new_files, made.event) == (5, 5, 5)
    keep(archive, "after")
    elsewhere()
    assert restore(tmp_path / "disk", None, tmp_path / "again", quiet) == made.name
    assert len(files_of(tmp_path / "again")) == 5
    assert all(name == digest for name, digest in files_of(tmp_path / "again").items())
    again = Archive(tmp_path / "again")
    with again.database.reading() as session:
        assert head(session) == (made.event, made.event_sha256)
        assert len(session.scalars(select(RawFile)).all()) == 5
    again.close()


def test_files_are_shared_and_old_backups_go(archive: Archive, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    names = []
    for number in range(4):
        keep(archive, f"log {number}")
        made = back_up(archive.folder, disk, 2, quiet)
        names.append(made.name)
        assert (made.files, made.new_files) == (number + 1, 1)
    assert copies_in(disk) == sorted(names, reverse=True)[:2]
    assert len(files_of(disk)) == 4
    assert sorted(each.name for each in disk.iterdir()) == sorted([*names[2:], LOCK_FILE, "raw"])
    assert restore(disk, names[2], tmp_path / "older", quiet) == names[2]
    assert len(files_of(tmp_path / "older")) == 3


@pytest.mark.usefixtures("engine")
def test_a_backup_while_others_write_is_of_one_moment(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            keep(archive, f"busy {number}")
            number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            made = back_up(archive.folder, tmp_path / "disk", 9, quiet)
            with monkeypatch.context() as inside:  # put back into a file, wherever it was
                inside.delenv("STILLAIR_DATABASE", raising=False)
                restore(tmp_path / "disk", made.name, tmp_path / f"again {number}", quiet)
            there = Database(tmp_path / f"again {number}" / DATABASE)
            with there.reading() as session:
                rows = set(session.scalars(select(RawFile.sha256)))
                assert len(rows) == made.files == head(session)[0]
            there.close()
            assert rows == set(files_of(tmp_path / f"again {number}"))
    finally:
        stop.set()
        writer.join()


@pytest.mark.parametrize("what", ["raw", "database", "gone"])
def test_a_damaged_backup_is_named_and_no_archive_is_made_of_it(archive: Archive, tmp_path: Path, what: str) -> None:
    digest, disk = keep(archive, "log"), tmp_path / "disk"
    made = back_up(archive.folder, disk, 3, quiet)
    file = disk / made.name / DATABASE if what == "database" else disk / "raw" / digest[:2] / digest
    file.chmod(0o644)
    if what == "gone":
        file.unlink()
    else:
        content = bytearray(file.read_bytes())
        content[-1] ^= 1
        file.write_bytes(content)
    with pytest.raises(StillairError, match="is not as it was made"):
        restore(disk, None, tmp_path / "again", quiet)
    assert not (tmp_path / "again" / DATABASE).exists()
    assert not list((tmp_path / "again").glob("*.sqlite3"))


def test_what_was_cut_off_is_swept_up(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log")
    left = tmp_path / "disk" / "unfinished 1"
    left.mkdir(parents=True)
    (left / DATABASE).write_text("half")
    made = back_up(archive.folder, tmp_path / "disk", 3, quiet)
    assert sorted(each.name for each in (tmp_path / "disk").iterdir()) == [made.name, LOCK_FILE, "raw"]
    assert sorted(each.name for each in (tmp_path / "disk" / made.name).iterdir()) == [DATABASE, MANIFEST]


def test_places_that_cannot_be(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log")
    with pytest.raises(StillairError, match="inside the archive"):
        back_up(archive.folder, archive.folder / "raw", 3, quiet)
    with pytest.raises(NotFoundError, match="no backup at all"):
        restore(tmp_path / "nowhere", None, tmp_path / "again", quiet)
    back_up(archive.folder, tmp_path / "disk", 3, quiet)
    with pytest.raises(NotFoundError, match="no backup '2026"):
        restore(tmp_path / "disk", "2026-01-01 000000", tmp_path / "again", quiet)
    with pytest.raises(StillairError, match="holds an archive already"):
        restore(tmp_path / "disk", None, archive.folder, quiet)


def test_nobody_starts_a_server_where_a_backup_is_being_put_back(archive: Archive, tmp_path: Path) -> None:
    """What it was told would be gone under the database that is put in its place."""
    keep(archive, "log")
    back_up(archive.folder, tmp_path / "disk", 3, quiet)
    again, refused = tmp_path / "again", []

    def start(fraction: float, text: str) -> None:
        quiet(fraction, text)
        with pytest.raises(StillairError, match="in use by another Stillair"):
            Archive(again)
        refused.append(text)

    restore(tmp_path / "disk", None, again, start)
    assert refused
    waiting = Archive(tmp_path / "other")  # taken, and still without a database
    with pytest.raises(StillairError, match="in use by another Stillair"):
        restore(tmp_path / "disk", None, tmp_path / "other", quiet)
    waiting.close()


def test_two_backups_at_once_leave_each_other_alone(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log")
    refused = []

    def another(fraction: float, text: str) -> None:
        quiet(fraction, text)
        if not refused:
            with pytest.raises(StillairError, match="is being made") as told:
                back_up(archive.folder, tmp_path / "disk", 1, quiet)
            refused.append(told)

    made = back_up(archive.folder, tmp_path / "disk", 3, another)
    assert copies_in(tmp_path / "disk") == [made.name]
    assert back_up(archive.folder, tmp_path / "disk", 3, quiet)


def test_backups_of_another_archive_are_not_pushed_out(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log")
    made = back_up(archive.folder, tmp_path / "disk", 1, quiet)
    other = Archive(tmp_path / "other")
    other.open()
    keep(other, "log of another car")
    with pytest.raises(StillairError, match="holds backups of another archive"):
        back_up(other.folder, tmp_path / "disk", 1, quiet)
    other.close()
    assert sorted(one.name for one in (tmp_path / "disk").iterdir()) == sorted([made.name, LOCK_FILE, "raw"])
    restore(tmp_path / "disk", None, tmp_path / "again", quiet)
    again = Archive(tmp_path / "again")
    again.open()
    keep(again, "more")  # put back, it is the same archive and goes on
    again.close()
    assert copies_in(tmp_path / "disk") != [back_up(again.folder, tmp_path / "disk", 2, quiet).name]


def test_a_backup_is_due_when_something_is_new_and_the_last_is_old(archive: Archive) -> None:
    day, at_once = dt.timedelta(days=1), dt.timedelta(0)

    def due(every: dt.timedelta) -> bool:
        with archive.database.reading() as session:
            return is_due(session, every)

    assert not due(at_once)  # nothing has happened
    keep(archive, "log")
    assert due(day)  # never backed up
    with archive.database.writing() as session:
        keep_backup(archive, session, {"folder": "f", "who": "Ana"}, {"name": "x", "event": 1, "files": 0})
    assert not due(at_once)  # nothing new but the backup itself
    keep(archive, "another log")
    assert not due(day)
    assert due(at_once)
    with archive.database.writing() as session:
        job = queue_backup(session, archive, archive.folder, 3, "Ana")
    assert not due(at_once)  # one waits
    with archive.database.writing() as session:
        session.get_one(Job, job).state = "failed"
    assert not due(at_once)  # not again and again on a disk that is full
    with archive.database.writing() as session:
        session.get_one(Job, job).created_at -= dt.timedelta(hours=2)
    assert due(at_once)


@pytest.mark.usefixtures("engine")
def test_the_clock_queues_what_the_worker_copies(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log")
    jobs = JobRunner(archive, BACKUP_KINDS)
    clock = BackupClock(archive, jobs, tmp_path / "disk", 24.0, 3)
    clock.look()
    clock.look()
    with archive.database.reading() as session:
        job = session.scalars(select(Job)).one()
    outcome = BACKUP_KINDS[job.kind].work(job.payload, quiet)
    with archive.database.writing() as session:
        number = BACKUP_KINDS[job.kind].finish(archive, session, job.payload, outcome)
        event = session.get_one(Event, int(number))
        assert (event.kind, event.who) == ("archive-backed-up", "Stillair")
        assert json.loads(event.after or "")["files"] == 1
    assert copies_in(tmp_path / "disk") == [outcome["name"]]
