"""Kills outside a server's life: of the commands that import and back up, and of a start that brings an old archive
to the newest form. What a command said before it died is noted; what a migration left is opened."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from server.archive.backups import DATABASE, MANIFEST, copies_in
from server.archive.database import Database
from server.archive.raw_files import RawStore, sha256_of
from server.archive.read_only import ReadOnlyArchive
from server.history.verify import faults
from server.locations import PACKAGE
from tests.studies.kill_actors import Ledger, zipped_day
from tests.studies.processes import tree_of
from tests.uploads.killed import running

RELEASED = Path(__file__).parents[1] / "archive" / "released"
LONGEST_IMPORT_S, LONGEST_BACKUP_S, LONGEST_START_S = 15.0, 4.0, 5.0
AFTER_COPY_S, MOST_KILLS = 0.3, 3
COUNTED = ("days", "day_revisions", "results", "events", "raw_files")
OLD_COPIES = "archive of version *.sqlite3"


def kill_import(folder: Path, ledger: Ledger, chance: random.Random) -> bool:
    """Kill `stillair import`; whether it came in its middle. What it said is kept is noted."""
    name = f"Imported {chance.getrandbits(48)}"
    with TemporaryDirectory() as scratch:
        day = Path(scratch) / "day.zip"
        day.write_bytes(zipped_day(name))
        more = ["--no-fit"] if chance.random() < 0.7 else []
        command = ["import", str(day), "--data", str(folder), "--who", "import", *more]
        said = _killed(command, chance.uniform(0.0, LONGEST_IMPORT_S))
    if said is not None and "is kept as day" in said:
        ledger.imported.append(name)
    return said is None


def kill_backup(folder: Path, place: Path, ledger: Ledger, chance: random.Random) -> bool:
    """Kill `stillair backup`; whether it came in its middle. A copy whose name it said is noted."""
    command = ["backup", str(place), "--data", str(folder), "--keep", "1000"]
    said = _killed(command, chance.uniform(0.0, LONGEST_BACKUP_S))
    if said is not None and "raw files" in said:
        ledger.copies.append(Path(said.split(": ")[0]).name)
    return said is None


def _killed(words: list[str], after_s: float) -> str | None:
    """What a command said, None where it was killed first. Its children end with it."""
    command = [sys.executable, "-m", "server.commands.main", *words]
    with subprocess.Popen(command, cwd=PACKAGE.parent, stdout=subprocess.PIPE, text=True) as process:
        try:
            said, _ = process.communicate(timeout=after_s)
        except subprocess.TimeoutExpired:
            process.kill()
            return None
    return said


def half_copies(place: Path, known: dict[str, str]) -> Iterator[str]:
    """Copies that have a name and are not whole: other bytes than their manifest says, or a raw file that is not there.

    known: what was found whole before, by its name.
    """
    for name in copies_in(place) if place.is_dir() else []:
        if name in known:
            continue
        told = json.loads((place / name / MANIFEST).read_text("utf-8"))["database"]["sha256"]
        if sha256_of(place / name / DATABASE) != told:
            yield f"the backup {name} has a database of other bytes"
        with closing(sqlite3.connect(f"file:{place / name / DATABASE}?immutable=1", uri=True)) as copy:
            files = copy.execute("SELECT sha256, size_bytes FROM raw_files").fetchall()
        raw = RawStore(place / "raw")
        gone = [sha256 for sha256, size in files if not raw.has(sha256, size) or sha256_of(raw.path(sha256)) != sha256]
        if gone:
            yield f"the backup {name} names {len(gone)} raw files that it does not have"
        known[name] = told


def kill_migration(folder: Path, chance: random.Random) -> tuple[int, list[str]]:
    """Kill a server that starts on an archive of an older schema, up to three times; then let it start.

    Gives how many kills found the archive still old, and what was wrong: a version between, rows that are gone, a copy
    beside it that is not whole, or anything that `verify` finds in the end.
    """
    schema, still_old, wrong = chance.choice(sorted(file.stem for file in RELEASED.glob("*.zip"))), 0, []
    with zipfile.ZipFile(RELEASED / f"{schema}.zip") as archive:
        archive.extractall(folder)
    before = _rows(folder / DATABASE)
    newest = _newest(folder)
    for _ in range(chance.randint(1, MOST_KILLS)):
        _start_and_kill(folder, chance)
        version = _version(folder / DATABASE)
        still_old += version == schema
        if version not in (schema, newest):
            wrong.append(f"a killed migration from {schema} left version {version}")
        wrong += _lost(before, _rows(folder / DATABASE), f"a killed migration from {schema}")
        wrong += _bad_old_copies(folder, schema, before)
    with running(folder):
        pass
    wrong += _lost(before, _rows(folder / DATABASE), f"the migration from {schema}")
    opened = ReadOnlyArchive(folder)
    try:
        wrong += faults(opened)
    finally:
        opened.close()
    return still_old, wrong


def _start_and_kill(folder: Path, chance: random.Random) -> None:
    """At any moment of the start, or just when its copy of the old archive appears."""
    copies = len(list(folder.glob("*of version*")))
    waits, soon = chance.uniform(0.0, LONGEST_START_S), chance.random() < 0.7
    command = [sys.executable, "-m", "server.commands.main", "serve", "--data", str(folder), "--port", "0"]
    with subprocess.Popen(command, cwd=PACKAGE.parent, stdout=subprocess.DEVNULL) as process:
        deadline = time.monotonic() + (30.0 if soon else waits)
        while time.monotonic() < deadline and process.poll() is None:
            if soon and len(list(folder.glob("*of version*"))) > copies:
                time.sleep(chance.uniform(0.0, AFTER_COPY_S))
                break
            if soon and _version(folder / DATABASE) == _newest(folder):
                break
            time.sleep(0.002)
        for each in tree_of(process.pid):
            os.kill(each, signal.SIGKILL)


def _newest(folder: Path) -> str | None:
    database = Database(folder / DATABASE, read_only=True)
    try:
        return database.check_known()[1]
    finally:
        database.close()


def _version(file: Path) -> str | None:
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True, timeout=30)) as connection:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        return None if found is None else str(found[0])


def _rows(file: Path) -> dict[str, int]:
    """Table → number of rows, of those tables that there are."""
    with closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True, timeout=30)) as connection:
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        names = [name for name in COUNTED if name in there]
        return {name: int(connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]) for name in names}


def _lost(before: dict[str, int], now: dict[str, int], whose: str) -> list[str]:
    return [f"{whose} lost rows of {name}" for name, count in before.items() if now.get(name, 0) < count]


def _bad_old_copies(folder: Path, schema: str, before: dict[str, int]) -> list[str]:
    """Copies beside the archive are as it was."""
    wrong = []
    for copy in folder.glob(OLD_COPIES):
        try:
            if _version(copy) != schema or _rows(copy) != before:
                wrong.append(f"{copy.name} is not the archive as it was")
        except sqlite3.DatabaseError as error:
            wrong.append(f"{copy.name} is no whole copy: {error}")
    return wrong
