"""An archive moved onto a PostgreSQL server: whole, compared, checked, or not at all; and back through a backup."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from server.archive.address import MARK, Address
from server.archive.archive import Archive
from server.archive.backups import back_up, restore
from server.archive.copying import Content, content_of, tables_of
from server.archive.database import Database
from server.archive.events import record
from server.archive.moving import move, pour
from server.archive.place import samples_of
from server.archive.read_only import ReadOnlyArchive
from server.commands.main import app
from server.days.tables import StoredDay
from server.errors import ArchiveBusyError, StillairError
from server.history.verify import faults
from server.locations import PACKAGE
from tests.archive.altering import alter, alter_server
from tests.archive.sound_archive import make_sound
from tests.postgres import Cluster

SLOW_MOVE = """
import sys, time
from pathlib import Path
from server.archive.address import Address
from server.archive.moving import move
def check(archive):
    print("all is there, and nothing is final", flush=True)
    time.sleep(60)
    return []
move(Path(sys.argv[1]), Address(sys.argv[2], Path(sys.argv[1])), check, lambda *_: None)
"""


def quiet(fraction: float, text: str) -> None:
    assert 0.0 <= fraction <= 1.0
    assert text


def check(archive: ReadOnlyArchive) -> list[str]:
    return list(faults(archive))


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_sound(tmp_path_factory.mktemp("sound"))


@pytest.fixture
def folder(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sound, tmp_path / "data"))


@pytest.fixture
def target(postgres: Cluster) -> str:
    return postgres.new_database(empty=True)


def bytes_of(folder: Path) -> dict[str, str]:
    """Every file of a data folder but the lock, and an empty journal that a killed reader leaves: name → SHA-256."""
    left = {"in-use.lock", MARK, "archive.sqlite3-shm", "samples.sqlite3-shm"}
    empty = {file.name for file in folder.glob("*-wal") if not file.stat().st_size}
    files = (file for file in folder.rglob("*") if file.is_file() and file.name not in left | empty)
    return {str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def contents(place: Path | Address, like: Path) -> dict[str, Content]:
    """What each table of the archive holds; `like`: the SQLite file that says what tables there are."""
    there, database = Database(like, read_only=True), Database(place, read_only=True)
    with there.engine.connect() as one, database.engine.connect() as other:
        told = {table.name: content_of(other, table) for table in tables_of(one)}
    there.close()
    database.close()
    return told


def is_empty(postgres: Cluster, address: str) -> bool:
    in_schemas = "JOIN pg_namespace n ON n.oid = relnamespace WHERE nspname !~ '^(pg_|information_)'"
    with postgres.connected(address) as connection:
        [(tables,)] = connection.execute(f"SELECT count(*) FROM pg_class {in_schemas}").fetchall()
        [(schemas,)] = connection.execute("SELECT count(*) FROM pg_namespace WHERE nspname ~ 'samples'").fetchall()
    return tables == schemas == 0


def test_the_command_moves_all_of_it(folder: Path, target: str, monkeypatch: pytest.MonkeyPatch) -> None:
    before, file = bytes_of(folder), folder / "archive.sqlite3"
    kept = contents(file, file)
    log = samples_of(folder).hashes()[0]
    one = samples_of(folder).log(log)
    monkeypatch.setenv("STILLAIR_DATABASE", target)
    done = CliRunner().invoke(app, ["move", "--data", str(folder)])
    assert done.exit_code == 0, done.output
    assert "not-to-be-seen" not in done.output
    assert bytes_of(folder) == before
    archive = Archive(folder)
    archive.open()
    assert contents(Address(target, folder), file) == kept
    assert archive.samples.log(log).channels[0].values.tobytes() == one.channels[0].values.tobytes()
    assert list(archive.samples.verify(log)) == []
    with archive.database.writing() as session:
        assert record(session, who="Ana", kind="note", subject="x").id == 6
        session.add(StoredDay(name="next", content_sha256="0" * 64, sent_as=""))
        session.flush()
        assert sorted(session.scalars(select(StoredDay.id))) == [1, 2]
        session.rollback()
    archive.close()
    again = CliRunner().invoke(app, ["move", "--data", str(folder)])
    assert again.exit_code != 0
    assert "was moved before" in str(again.exception)


@pytest.mark.parametrize("held", ["CREATE TABLE mine (a int)", "CREATE SCHEMA m CREATE TABLE a (b int)"])
def test_a_database_that_is_not_empty_is_refused(folder: Path, target: str, postgres: Cluster, held: str) -> None:
    with postgres.connected(target) as connection:
        connection.execute(held)
    with pytest.raises(StillairError, match=r"is not empty: it holds (public\.mine|m\.a)"):
        move(folder, Address(target, folder), check, quiet)
    assert not (folder / MARK).exists()


def test_while_a_server_has_the_folder_nothing_is_moved(folder: Path, target: str, postgres: Cluster) -> None:
    server = Archive(folder)
    server.open()
    with pytest.raises(StillairError, match="in use by another Stillair"):
        move(folder, Address(target, folder), check, quiet)
    server.close()
    assert is_empty(postgres, target)


def test_killed_midway_the_database_is_empty_and_the_folder_as_it_was(
    folder: Path, target: str, postgres: Cluster
) -> None:
    before = bytes_of(folder)
    command = [sys.executable, "-c", SLOW_MOVE, str(folder), target]
    with subprocess.Popen(command, cwd=PACKAGE.parent, stdout=subprocess.PIPE, text=True) as moving:
        assert moving.stdout
        assert "all is there" in moving.stdout.readline()
        with (
            pytest.raises(ArchiveBusyError),
            Database(folder / "archive.sqlite3", busy_timeout_ms=50).writing(),
        ):  # nobody adds anything that would stay behind
            pass
        moving.kill()
    deadline = time.monotonic() + 20
    while not is_empty(postgres, target):
        assert time.monotonic() < deadline
        time.sleep(0.05)
    assert bytes_of(folder) == before
    assert not (folder / MARK).exists()
    assert move(folder, Address(target, folder), check, quiet).faults == []


def test_an_archive_with_faults_stays_where_it_is_unless_it_may_move(
    folder: Path, target: str, postgres: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    alter(folder, "UPDATE events SET reason = 'another' WHERE id = 2")
    monkeypatch.setenv("STILLAIR_DATABASE", target)
    refused = CliRunner().invoke(app, ["move", "--data", str(folder)])
    assert refused.exit_code == 3
    assert "event 2 was altered after it was sealed" in refused.output
    assert is_empty(postgres, target)
    moved = CliRunner().invoke(app, ["move", "--with-faults", "--data", str(folder)])
    assert moved.exit_code == 0
    looking = ReadOnlyArchive(folder)
    assert [fault for fault in faults(looking) if "event 2 was altered" in fault]
    looking.close()


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE days SET date = 'yesterday'", "A row of the table days cannot be copied"),
        ("UPDATE days SET name = 'a' || char(0) || 'b'", r"A row of the table days cannot be copied \(.*NUL"),
        ("UPDATE jobs SET payload = '{\"a\": NaN}'", r"A row of the table jobs cannot be copied \(.*json"),
        ("UPDATE alembic_version SET version_num = '0009'", "an older Stillair wrote"),
    ],
)
def test_what_cannot_be_kept_there_is_named(
    folder: Path, target: str, postgres: Cluster, statement: str, named: str
) -> None:
    alter(folder, statement)
    with pytest.raises(StillairError, match=named):
        move(folder, Address(target, folder), check, quiet)
    assert is_empty(postgres, target)


def test_where_there_is_nothing_to_move(tmp_path: Path, target: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(StillairError, match="There is no archive"):
        move(tmp_path, Address(target, tmp_path), check, quiet)
    monkeypatch.delenv("STILLAIR_DATABASE", raising=False)
    assert "Set STILLAIR_DATABASE" in str(CliRunner().invoke(app, ["move", "--data", str(tmp_path)]).exception)


def test_a_backup_goes_from_a_server_into_a_file_and_onto_another_server(
    folder: Path, target: str, postgres: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    like = folder / "archive.sqlite3"
    kept = contents(like, like)
    pour(like, Address(target, folder), check, quiet)
    monkeypatch.setenv("STILLAIR_DATABASE", target)
    made = back_up(folder, tmp_path / "disk", 3, quiet)
    assert made.event == 5
    monkeypatch.delenv("STILLAIR_DATABASE")
    restore(tmp_path / "disk", None, tmp_path / "laptop", quiet)
    assert contents(tmp_path / "laptop" / "archive.sqlite3", like) == kept
    onto = postgres.new_database(empty=True)
    monkeypatch.setenv("STILLAIR_DATABASE", onto)
    restore(tmp_path / "disk", None, tmp_path / "server", quiet)
    assert contents(Address(onto, tmp_path / "server"), like) == kept
    assert not list((tmp_path / "server").glob("*.sqlite3"))
    with pytest.raises(StillairError, match="is not empty"):
        restore(tmp_path / "disk", None, tmp_path / "third", quiet)


SAMPLES_ALTERED = [
    ("DELETE FROM channels", "of its series belong to no channel."),
    ("UPDATE channels SET last_s = last_s + 1", "from 0.0 s to 191.99 s, the list says 0.0 s to 192.99"),
    ("UPDATE logs SET sha256 = repeat('f', 64)", "holds no raw file of that name"),
    ("UPDATE series SET n = n + 1 WHERE id = 1", "Part 1 of 1 of the times of 'speed'"),
    ("UPDATE chunks SET series_id = 999 WHERE series_id = 1", "a row of chunks names a row of series"),
]


def test_samples_on_a_server_that_are_altered(
    folder: Path, target: str, postgres: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    move(folder, Address(target, folder), check, quiet)
    for statement, named in SAMPLES_ALTERED:
        again = postgres.copy(target)
        monkeypatch.setenv("STILLAIR_DATABASE", again)
        alter_server(again, "SET search_path = stillair_samples", statement)
        looking = ReadOnlyArchive(folder)
        told = list(faults(looking))
        looking.close()
        assert any(named in fault for fault in told), (statement, told)
