"""Whatever is altered in any table or file of an archive, `verify` finds it and names the place."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from server.archive.archive import Archive
from server.archive.events import record
from server.archive.read_only import ReadOnlyArchive
from server.archive.sample_chunks import encode
from server.days.holding import days_holding
from server.history.verify import faults
from server.locations import PACKAGE
from server.uploads.service import Uploads
from tests.archive.altering import alter
from tests.archive.sound_archive import LONG, make_sound

# Columns that nothing else tells of, so that no looking can find them out; what they hold is shown as it stands.
UNTOLD = {
    "days": {"id", "upload_sha256", "added_at"},
    "day_revisions": {"id", "what", "made_at"},
    "results": {"made_at"},
    "raw_files": {"stored_at"},
    "uploads": {"name", "sent_metadata", "who", "device", "created_at", "touched_at"},
    "revision_facts": {"format"},  # of another form they count as not there, and are made anew
}
WHOLE = {"uploads": "WHERE state = 'received'"}  # half a file may be given up, or go on, without an event
TABLES = ("days", "day_revisions", "revision_files", "results", "raw_files", "uploads", "events", "revision_facts")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = make_sound(tmp_path_factory.mktemp("sound"))
    assert found(made) == []
    return made


@pytest.fixture
def folder(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sound, tmp_path / "data"))


def found(folder: Path) -> list[str]:
    archive = ReadOnlyArchive(folder)
    try:
        return list(faults(archive))
    finally:
        archive.close()


def quoted(value: object) -> str:
    return str(value) if isinstance(value, int) else "'" + str(value).replace("'", "''") + "'"


def columns() -> list[tuple[str, str]]:
    """Every column of the tables, as the program knows them."""
    from server.archive.database import Base

    known = [(table, column.name) for table in TABLES for column in Base.metadata.tables[table].columns]
    return [pair for pair in known if pair[1] not in UNTOLD.get(pair[0], ())]


@pytest.mark.parametrize(("table", "column"), columns())
def test_every_column_that_anything_tells_of(folder: Path, table: str, column: str) -> None:
    """Another value of the same sort in one row; keys of other tables are not checked by SQLite while that is done."""
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        there = WHOLE.get(table, "WHERE true")
        chosen = f"SELECT rowid, {column} FROM {table} {there} AND {column} IS NOT NULL ORDER BY rowid DESC LIMIT 1"
        [(row, value)] = connection.execute(chosen).fetchall()
    other = value + 1 if isinstance(value, int) else f"{value[:-1]}{'2' if value.endswith('1') else '1'}"
    if column == "state":
        other = "receiving"
    alter(folder, f"UPDATE {table} SET {column} = {quoted(other)} WHERE rowid = {row}")
    assert found(folder), f"{table}.{column} was {value!r}"


@pytest.mark.parametrize("table", TABLES[:-1])
def test_a_row_that_was_taken_out(folder: Path, table: str) -> None:
    """The first and the last row of each table. Facts of a revision are made anew, so nothing is lost with them."""
    for end in ("min", "max"):
        again = Path(shutil.copytree(folder, folder.parent / end))
        alter(again, f"DELETE FROM {table} WHERE rowid = (SELECT {end}(rowid) FROM {table} {WHOLE.get(table, '')})")
        assert found(again), f"{end} of {table}"


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE days SET name = 'Another'", 'Day 1, revision 2: its file calls it "Shakedown", the list "Another".'),
        (
            "UPDATE days SET date = '2026-04-12'",
            "Day 1, revision 2: its file says 2026-04-11, the list 2026-04-12.",
        ),
        ("UPDATE days SET sent_as = 'x'", "Day 1: event 1 says it was sent under another name."),
        ("UPDATE days SET date = 'yesterday'", "Day 1: cannot be read (Invalid isoformat string"),
        ("DELETE FROM days", "The chain of events: event 1 tells of day 1, which is not there."),
        (
            "DELETE FROM day_revisions WHERE number = 2",
            "The chain of events: event 2 tells of revision 2 of day 1, which is not there.",
        ),
        ("DELETE FROM results WHERE id = 1", "event 3 tells of result 1 of day 1, which is not there."),
        ("UPDATE results SET summary = '{' WHERE id = 2", "Day 1, result 2: cannot be read ("),
        ("UPDATE results SET moved = '[1]' WHERE id = 2", "Day 1, result 2: event 4 tells of other changes"),
        ("DELETE FROM uploads", "The chain of events: event 5 tells of upload"),
        ("UPDATE uploads SET received_bytes = 4 WHERE size_bytes = 5", "4 bytes of it were acknowledged, 3 are there"),
        ("UPDATE uploads SET size_bytes = 4 WHERE size_bytes = 3", "4 bytes were announced and 3 came in"),
        (
            "UPDATE revision_facts SET brief = json_set(brief, '$.car', 'x')",
            "Day 1, revision 2: lists show something else",
        ),
        ("UPDATE jobs SET target = '7' WHERE state = 'done'", "Job job (Shakedown): made day 7, which is not there."),
    ],
)
def test_the_place_is_named(folder: Path, statement: str, named: str) -> None:
    alter(folder, statement)
    assert any(named in fault for fault in found(folder)), found(folder)
    assert all("\n" not in fault for fault in found(folder))


def flip(file: Path, at: float = 0.5) -> None:
    content = bytearray(file.read_bytes())
    content[int(len(content) * at)] ^= 0xFF
    file.chmod(0o644)
    file.write_bytes(content)


def raw_files(folder: Path) -> list[Path]:
    return sorted(file for file in (folder / "raw").rglob("*") if file.is_file())


def test_every_raw_file_that_is_flipped_cut_or_gone(folder: Path) -> None:
    for number, file in enumerate(raw_files(folder)):
        content = file.read_bytes()
        flip(file) if number % 3 == 0 else file.chmod(0o644)
        if number % 3 == 1:
            file.write_bytes(content[:-1])
        if number % 3 == 2:
            file.unlink()
        assert any(fault.startswith(f"Raw file {file.name}: ") for fault in found(folder)), file
        file.write_bytes(content)
    assert found(folder) == []


def test_a_part_that_is_cut(folder: Path) -> None:
    [part] = (folder / "incoming" / "uploads").iterdir()
    part.write_bytes(b"ab")
    assert found(folder) == [f"Upload {part.stem} (run.csv): 3 bytes of it were acknowledged, 2 are there."]


def altered_samples(folder: Path, statement: str, *values: object) -> list[str]:
    with closing(sqlite3.connect(folder / "samples.sqlite3")) as connection:
        assert connection.execute(statement, values).rowcount > 0
        connection.commit()
    return found(folder)


PYRAMID = "(SELECT low_id FROM levels ORDER BY series_id DESC LIMIT 1)"


def test_samples_that_are_altered(folder: Path) -> None:
    told = altered_samples(folder, "UPDATE chunks SET data = zeroblob(length(data)) WHERE series_id = 1")
    assert any("Part 1 of 1 of the times of 'speed' in the samples store is damaged" in fault for fault in told)


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("DELETE FROM channels", "of its series belong to no channel."),
        ("DELETE FROM levels WHERE series_id = (SELECT max(series_id) FROM levels)", "of 'speed' has levels []"),
        ("UPDATE channels SET last_s = last_s + 1", "from 0.0 s to 191.99 s, the list says 0.0 s to 192.99"),
        (f"DELETE FROM chunks WHERE series_id = {PYRAMID}", "the least values, level 1 of 'speed'"),
        ("UPDATE logs SET sha256 = replace(sha256, substr(sha256, 1, 1), 'f')", "holds no raw file of that name"),
        ("UPDATE series SET n = n + 1 WHERE id = 1", "Part 1 of 1 of the times of 'speed'"),
    ],
)
def test_rows_of_the_samples(folder: Path, statement: str, named: str) -> None:
    told = altered_samples(folder, statement)
    assert any(named in fault for fault in told), told


def test_a_pyramid_that_was_sealed_anew(folder: Path) -> None:
    """Its own hashes hold; the samples that it stands for say otherwise."""
    chunk = encode(np.full(LONG // 64, -99.0))
    told = altered_samples(
        folder,
        f"UPDATE chunks SET n = ?, codec = ?, dtype = ?, digits = ?, sha256 = ?, data = ?, last = -99 "
        f"WHERE series_id = {PYRAMID}",
        *(chunk.n, chunk.codec, chunk.dtype, chunk.digits, chunk.sha256, chunk.data),
    )
    assert [fault.partition(": ")[2] for fault in told] == [
        "Of the least values, level 1 of 'speed', the samples say something else."
    ]


def test_a_result_that_cannot_be_read_does_not_end_the_looking(folder: Path) -> None:
    alter(folder, "UPDATE results SET summary = '{' WHERE id = 1", "UPDATE days SET name = 'Another'")
    told = found(folder)
    assert any(fault.startswith("Day 1, result 1: cannot be read") for fault in told)
    assert any("calls it" in fault for fault in told)


@pytest.mark.parametrize("at", [0.0, 0.3, 0.5, 0.7, 0.95])
@pytest.mark.parametrize("name", ["archive.sqlite3", "samples.sqlite3"])
def test_bytes_of_the_databases(folder: Path, name: str, at: float) -> None:
    """A page of a database overwritten: at least one line, exit code 3, or 2 where it is no database any more."""
    file = folder / name
    content = bytearray(file.read_bytes())
    page = 4096 if name.startswith("archive") else 16_384
    start = int(len(content) * at) // page * page
    content[start : start + page] = bytes([0xA5]) * page
    file.write_bytes(content)
    done = checked(folder)
    assert done.returncode in ((2,) if (name, at) == ("archive.sqlite3", 0.0) else (2, 3)), done
    told = done.stdout if done.returncode == 3 else done.stderr
    assert told.strip()
    assert "Traceback" not in done.stderr


def checked(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "server.commands.main", "verify", "--data", str(folder)]
    return subprocess.run(command, cwd=PACKAGE.parent, capture_output=True, text=True, check=False, timeout=120)


def test_the_command_says_one_line_a_fault(folder: Path) -> None:
    assert checked(folder).returncode == 0
    alter(folder, "UPDATE days SET name = 'Another', sent_as = 'x'")
    done = checked(folder)
    assert done.returncode == 3
    assert len(done.stdout.splitlines()) == 2
    assert done.stdout.startswith("Day 1")


def test_beside_a_running_server_nothing_is_taken_for_a_fault(folder: Path) -> None:
    """An upload that ends and a day that is changed while one looks."""
    archive = Archive(folder)
    archive.open()
    uploads = Uploads(archive, 10**6, days_holding)
    reading = ReadOnlyArchive(folder)
    looking = faults(reading, once(lambda: go_on(archive, uploads)))
    assert list(looking) == []
    reading.close()
    archive.close()


def once(act: Callable[[], None]) -> Callable[[float, str], None]:
    done: list[bool] = []

    def progress(fraction: float, _: str) -> None:
        if fraction > 0.1 and not done:
            done.append(True)
            act()

    return progress


def go_on(archive: Archive, uploads: Uploads) -> None:
    [part] = archive.uploads.iterdir()
    uploads.append(part.stem, 3, b"de")
    uploads.settle(part.stem)
    with archive.database.writing() as session:
        record(session, who="Ada", kind="note", subject="x")


