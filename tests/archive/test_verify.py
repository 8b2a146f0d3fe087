"""Checking an archive: a sound one is silent, and each kind of damage is named."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.archive.read_only import ReadOnlyArchive
from server.days import changes
from server.days.revisions import revise_day
from server.days.service import IncomingDay, keep_day, newest_revision
from server.errors import StillairError
from server.history.verify import faults
from server.locations import sample_day_folders
from server.results.service import keep_result, write_result
from server.testday.folder import read_folder
from server.testday.values import Day
from tests.archive.altering import alter
from tests.web.made_up import made_up_day_result


def heavier(day: Day) -> changes.Change:
    return changes.change_car(day, "mass_kg", replace(day.car.mass_kg, value=240.0))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An archive with one day, one change and one result."""
    archive = Archive(tmp_path / "data")
    archive.open()
    write_result(made_up_day_result("AB"), tmp_path / "result.zip")
    sample = sample_day_folders()[0]
    day = read_folder(sample)
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay(day.name, day.date, sample, "a day"), "Ada")
        keep_result(archive, session, newest_revision(session, day.id), tmp_path / "result.zip")
    revise_day(archive, 1, heavier, who="Ada", reason="weighed again")
    archive.close()
    return tmp_path / "data"


def found(folder: Path) -> list[str]:
    archive = ReadOnlyArchive(folder)
    try:
        return list(faults(archive))
    finally:
        archive.close()


@pytest.mark.usefixtures("engine")
def test_a_sound_archive_has_no_faults(folder: Path) -> None:
    assert found(folder) == []


@pytest.mark.usefixtures("engine")
def test_beside_a_running_server(folder: Path) -> None:
    archive = Archive(folder)
    archive.open()
    assert found(folder) == []
    archive.close()


@pytest.mark.usefixtures("engine")
@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE events SET reason = 'another' WHERE id = 3", "event 3 was altered"),
        ("DELETE FROM events WHERE id = 2", "event 2 is missing"),
        ("UPDATE day_revisions SET who = 'Bob' WHERE number = 2", "revision 2: event 3 names another person"),
        ("DELETE FROM revision_files WHERE path LIKE 'logs/%'", "its files are not those"),
        ("UPDATE results SET version = '9'", "was made by version"),
        ("UPDATE raw_files SET size_bytes = size_bytes + 1", "were kept"),
        ("UPDATE days SET content_sha256 = 'x'", "its first revision has other content"),
        ("UPDATE results SET revision_id = 77", "names a row of day_revisions that is not there"),
    ],
)
def test_what_was_altered_is_named(folder: Path, statement: str, named: str) -> None:
    alter(folder, statement)
    assert any(named in fault for fault in found(folder)), found(folder)


ALTERED_SUMMARY = {
    "sqlite": "UPDATE results SET summary = json_set(summary, '$.findings.note', 99)",
    "postgresql": "UPDATE results SET summary = jsonb_set(summary::jsonb, '{findings,note}', '99')::json",
}


def test_an_altered_summary_is_named(engine: str, folder: Path) -> None:
    alter(folder, ALTERED_SUMMARY[engine])
    assert any("other numbers than it holds" in fault for fault in found(folder))


def test_a_seal_that_was_taken_off_is_named(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        connection.execute("DROP TRIGGER events_no_update")
    assert found(folder) == ["The database: the seal events_no_update is missing."]


@pytest.mark.parametrize("damage", ["flipped", "gone"])
def test_a_raw_file_that_is_not_as_it_was(folder: Path, damage: str) -> None:
    file = max((one for one in (folder / "raw").rglob("*") if one.is_file()), key=lambda one: one.stat().st_size)
    file.chmod(0o644)
    if damage == "gone":
        file.unlink()
    else:
        content = bytearray(file.read_bytes())
        content[len(content) // 2] ^= 1
        file.write_bytes(content)
    assert any(fault.startswith(f"Raw file {file.name}: ") for fault in found(folder))


def test_nothing_is_changed_by_looking(folder: Path) -> None:
    archive = ReadOnlyArchive(folder)
    with pytest.raises(Exception, match="readonly"), archive.database.writing() as session:
        newest_revision(session, 1).what = "another"
    archive.close()


def test_where_there_is_no_archive(tmp_path: Path) -> None:
    with pytest.raises(StillairError, match="There is no archive in"):
        ReadOnlyArchive(tmp_path)
