"""An archive made by any released schema opens: copied first, nothing of it lost, every number to the last digit."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from server.app import create_app
from server.archive.archive import Archive
from server.archive.read_only import ReadOnlyArchive
from server.errors import StillairError
from server.history.verify import faults
from server.locations import migrations_folder
from server.settings import Settings
from tests.web.serving import client_of

RELEASED = Path(__file__).parent / "released"
SCHEMAS = sorted(file.stem for file in RELEASED.glob("*.zip"))
STEPS = {f"{number:04}" for number in range(4, 10)}  # came together with 0010: nobody has an archive of these
PAGES = (
    "/",
    "/cars",
    "/history",
    "/jobs",
    "/days/1/result",
    "/days/1/car",
    "/days/1/runs/1",
    "/days/1/history",
    "/days/1/results/1",
    "/days/1/figures/budget/table",
    "/api/days",
    "/api/days/1/result",
    "/api/events",
)


@dataclass(frozen=True)
class Opened:
    """An archive of an older schema, as today's server shows it."""

    schema: str
    folder: Path
    app: FastAPI
    client: httpx.Client
    told: dict[str, Any]


def unpacked(schema: str, folder: Path) -> Path:
    with zipfile.ZipFile(RELEASED / f"{schema}.zip") as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture(scope="module", params=SCHEMAS)
def opened(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    schema = request.param
    folder = unpacked(schema, tmp_path_factory.mktemp("archive") / "data")
    app = create_app(Settings(data_folder=folder))
    with client_of(app) as client:
        yield Opened(schema, folder, app, client, json.loads((RELEASED / f"{schema}.json").read_text("utf-8")))


def rows(file: Path, statement: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(statement).fetchall()


def test_every_schema_but_the_newest_has_its_archive() -> None:
    known = sorted(file.name[:4] for file in (migrations_folder() / "versions").glob("[0-9]*.py"))
    assert set(known[:-1]) - STEPS == set(SCHEMAS)
    assert all((RELEASED / f"{schema}.zip").stat().st_size < 300_000 for schema in SCHEMAS)


def test_a_copy_is_made_before_anything_is_changed(opened: Opened) -> None:
    assert opened.told["schema"] == opened.schema
    newest = opened.app.state.archive.database.version()
    copies = sorted(opened.folder.glob("archive of version *.sqlite3"))
    if opened.schema == newest:
        assert copies == []
        return
    [copy] = copies
    assert copy.name.startswith(f"archive of version {opened.schema}, ")
    assert rows(copy, "SELECT version_num FROM alembic_version") == [(opened.schema,)]
    expected = [(one["id"], one["day_id"], one["sha256"]) for one in opened.told["results"]]
    assert rows(copy, "SELECT id, day_id, sha256 FROM results ORDER BY id") == expected


def test_every_page_answers(opened: Opened) -> None:
    client = opened.client
    assert {path: client.get(path, follow_redirects=True).status_code for path in PAGES} == dict.fromkeys(PAGES, 200)


def test_every_result_reads_to_the_same_digits(opened: Opened) -> None:
    shelf, told = opened.app.state.results, opened.told["results"]
    kept = {row["id"]: row for row in opened.client.get("/api/days/1/results").json()}
    assert sorted(kept) == [one["id"] for one in told]
    for one in told:
        assert kept[one["id"]]["sha256"] == one["sha256"]
        result = shelf.read(one["sha256"])
        assert [setup.name for setup in result.setups] == list(one["setups"])
        for setup in result.setups:
            stored = one["setups"][setup.name]
            read = {
                name: {key: getattr(value, key) for key in stored[name]} for name, value in setup.estimates.items()
            }
            assert read == stored


def test_the_summary_shows_the_same_digits(opened: Opened) -> None:
    newest = max(opened.told["results"], key=lambda one: one["id"])
    shown = opened.client.get("/api/days/1/results").json()[0]["summary"]["setups"]
    for setup in shown:
        stored = newest["setups"][setup["setup"]]["SCx"]
        assert {key: setup["estimates"]["SCx"][key] for key in stored} == stored


def test_verify_is_clean_and_files_are_byte_for_byte(opened: Opened) -> None:
    archive = ReadOnlyArchive(opened.folder)
    try:
        assert list(faults(archive)) == []
    finally:
        archive.close()
    with zipfile.ZipFile(RELEASED / f"{opened.schema}.zip") as kept:
        for name in kept.namelist():
            if name.startswith("raw/"):
                assert (opened.folder / name).read_bytes() == kept.read(name)


def test_what_was_written_down_stands(opened: Opened, tmp_path: Path) -> None:
    """Events keep their seals; what was called off stays so, and what it worked on is swept up."""
    old = unpacked(opened.schema, tmp_path) / "archive.sqlite3"
    now = opened.folder / "archive.sqlite3"
    if opened.schema == "0001":
        assert rows(now, "SELECT kind, day_id FROM events") == [("day-found", 1)]
        assert rows(now, "SELECT number, who FROM day_revisions") == [(1, "")]
        return
    for table in ("events", "day_revisions", "revision_files", "raw_files", "uploads"):
        kept = rows(old, f"SELECT * FROM {table}")
        assert kept
        assert rows(now, f"SELECT * FROM {table}")[: len(kept)] == kept
    assert ("cancelled",) in rows(now, "SELECT state FROM jobs")
    assert [each.name for each in (opened.folder / "incoming").iterdir() if each.name != "uploads"] == []


@pytest.mark.parametrize("schema", SCHEMAS)
def test_work_goes_on_in_it(schema: str, tmp_path: Path) -> None:
    """A change after opening is the next revision of the day, and the archive still verifies."""
    from dataclasses import replace

    from server.days import changes
    from server.days.revisions import revise_day

    folder = unpacked(schema, tmp_path / "data")
    archive = Archive(folder)
    archive.open()
    before = len(rows(folder / "archive.sqlite3", "SELECT id FROM day_revisions"))
    made = revise_day(
        archive,
        1,
        lambda day: changes.change_car(day, "mass_kg", replace(day.car.mass_kg, value=240.0)),
        who="Ada",
    )
    archive.close()
    assert made.number == before + 1
    looked_at = ReadOnlyArchive(folder)
    assert list(faults(looked_at)) == []
    looked_at.close()


@pytest.mark.parametrize("schema", SCHEMAS)
def test_of_a_newer_program_it_is_refused_and_not_touched(schema: str, tmp_path: Path) -> None:
    folder = unpacked(schema, tmp_path / "data")
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9001'")
        connection.commit()
    before = (folder / "archive.sqlite3").read_bytes()
    archive = Archive(folder)
    with pytest.raises(StillairError, match=r"is of version 9001, which a newer Stillair wrote .* Nothing in it was"):
        archive.open()
    archive.close()
    assert (folder / "archive.sqlite3").read_bytes() == before
    assert list(folder.glob("archive of version *")) == []
