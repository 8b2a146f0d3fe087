"""An archive that another server holds, that a newer program wrote, that cannot be written, that is none: one
sentence on standard error, exit code 2, and every byte as it was."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.locations import PACKAGE, sample_day_folders
from server.results.fit_job import queue_folder
from tests.uploads.killed import running

SERVE = ("serve", "--port", "0")
SHAKEDOWN = str(sample_day_folders()[0])
COMMANDS = {
    "serve": SERVE,
    "import": ("import", SHAKEDOWN, "--no-fit"),
    "verify": ("verify",),
    "export": ("export", "1", "out"),
}


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "server.commands.main", *words, "--data", str(folder)]
    search = {**os.environ, "PYTHONPATH": str(PACKAGE.parent)}
    return subprocess.run(
        command, cwd=folder.parent, env=search, capture_output=True, text=True, check=False, timeout=60
    )


def refused(folder: Path, *words: str) -> str:
    """The one sentence that a command says."""
    done = run(folder, *words)
    assert done.returncode == 2, done
    assert "Stillair is open" not in done.stdout
    [line] = done.stderr.strip().splitlines()
    assert line.startswith("stillair: ")
    assert line.endswith(".")
    return line.removeprefix("stillair: ")


def state(folder: Path) -> dict[str, str]:
    """Every file but those that a lock and a shared memory are."""
    files = (file for file in folder.rglob("*") if file.is_file() and file.suffix != ".lock")
    return {
        str(file.relative_to(folder)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in files
        if not file.name.endswith("-shm") and "cache" not in file.parts
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    archive = Archive(tmp_path / "data")
    archive.open()
    assert queue_folder(archive, Path(SHAKEDOWN))
    archive.close()
    return tmp_path / "data"


@pytest.mark.parametrize("command", COMMANDS)
def test_an_archive_of_a_newer_program(folder: Path, command: str) -> None:
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9001'")
        connection.commit()
    before = state(folder)
    assert "is of version 9001, which a newer Stillair wrote" in refused(folder, *COMMANDS[command])
    assert state(folder) == before


@pytest.mark.parametrize("command", ["serve", "import"])
def test_a_folder_that_another_server_has(tmp_path: Path, command: str) -> None:
    with running(tmp_path / "data"):
        before = state(tmp_path / "data")
        sentence = refused(tmp_path / "data", *COMMANDS[command])
        assert re.fullmatch(r"The data folder \S+ is in use by another Stillair; .*--data FOLDER\.", sentence)
        assert state(tmp_path / "data") == before


@pytest.mark.parametrize("command", COMMANDS)
def test_a_database_that_is_none(folder: Path, command: str) -> None:
    (folder / "archive.sqlite3").write_bytes(b"\x89PNG\r\n\x1a\n" * 1000)
    before = state(folder)
    assert "database is damaged (file is not a database)" in refused(folder, *COMMANDS[command])
    assert state(folder) == before


@contextmanager
def frozen(folder: Path) -> Iterator[Path]:
    """A folder in which nothing can be written, not even by root."""
    if os.name != "posix" or os.geteuid() != 0:
        for one in [folder, *(each for each in folder.rglob("*") if each.is_dir())]:
            one.chmod(0o555)
        yield folder
        for one in [folder, *(each for each in folder.rglob("*") if each.is_dir())]:
            one.chmod(0o755)
        return
    there = folder.parent / "frozen"
    there.mkdir()
    shutil.copytree(folder, there / "data")
    if not (mounted("--bind", there, there) and mounted("-o", "remount,ro,bind", there)):
        pytest.skip("root may not mount here, and nothing else stops root from writing")
    yield there / "data"
    subprocess.run(["umount", str(there)], check=True)


def mounted(*words: str | Path) -> bool:
    return subprocess.run(["mount", *map(str, words)], capture_output=True, check=False).returncode == 0


def test_a_folder_that_cannot_be_written(folder: Path) -> None:
    done = run(folder, *COMMANDS["import"])
    assert done.returncode == 0, done
    with frozen(folder) as place:
        before = state(place)
        for command in ("serve", "import"):
            assert re.search(r"data folder \S+ cannot be written \(.+\)", refused(place, *COMMANDS[command]))
        assert run(place, "verify").returncode == 0
        out = place.parent.parent / "out"
        done = run(place, "export", "1", str(out))
        assert done.returncode == 0, done
        exported = {file.relative_to(out): file.read_bytes() for file in out.rglob("*") if file.is_file()}
        day = Path(SHAKEDOWN)
        assert exported == {file.relative_to(day): file.read_bytes() for file in day.rglob("*") if file.is_file()}
        assert state(place) == before


def test_changes_that_are_not_in_the_file_yet_are_not_passed_over(folder: Path) -> None:
    """A folder copied from a server that was killed, to where nothing can be written."""
    (folder / "archive.sqlite3-wal").write_bytes(b"x" * 4096)
    with frozen(folder) as place:
        assert "its newest changes are not in the database's file yet" in refused(place, "verify")
