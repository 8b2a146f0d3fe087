"""Whatever is altered in any table of tufts, the check of the archive finds it."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from server.archive.database import Base
from server.archive.read_only import ReadOnlyArchive
from server.days.revisions import newest_day
from server.history.verify import faults
from server.history.verify_events import Told
from server.history.verify_tufts import tuft_faults
from server.testday.tufts import PointPair, TuftStation
from server.tufts import changing
from server.tufts.service import find_photo
from server.tufts.tables import TUFT_TABLES
from tests.archive.test_verify import alter
from tests.tufts.tuft_site import entry, mark, photo, tuft_site

COLUMNS = [(table.__tablename__, column.key) for table in TUFT_TABLES for column in table.__table__.columns]


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Something in every table."""
    folder = tmp_path_factory.mktemp("sound")
    with tuft_site(folder) as site:
        number = photo(site)
        mark(site, number, entry(3, 4, direction_rad=0.5, condition="attached", station="a"), entry(8, 9))
        archive = site.app.state.archive
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, 1)
            found = find_photo(session, day, 1, number)
            changing.set_camera_clock(session, day, 1, found.camera, 61.0, who="Ana")
            station = TuftStation("rear wing", "a", 0.1, 0.2, 0.3, "attached")
            changing.set_stations(session, day, 1, [station], source="s.csv", plan_photo_id=number, who="Ana")
            pairs = [PointPair(x, y, 90 * x, 60 * y) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
            changing.set_view(session, found, pairs, who="Ana")
            changing.change_photo(session, day, find_photo(session, day, 1, number), who="Ana", flow_rad=0.1, run=1)
    assert told(folder / "data") == []
    return folder / "data"


def told(folder: Path) -> list[str]:
    archive = ReadOnlyArchive(folder)
    try:
        return [fault for fault in faults(archive) if "ufts" in fault or "tuft" in fault]
    finally:
        archive.close()


def of_tufts(folder: Path) -> list[str]:
    """The same, without looking at anything else."""
    archive = ReadOnlyArchive(folder)
    try:
        with archive.database.reading() as session:
            return list(tuft_faults(session, Told.read(session)))
    finally:
        archive.close()


def altered(value: object) -> str:
    if isinstance(value, int | float):
        return str(value + 1)
    return "'" + f"{value[:-1]}{'2' if str(value).endswith('1') else '1'}".replace("'", "''") + "'"  # type: ignore[index]


def changed(folder: Path, statement: str) -> None:
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute(statement)
        connection.commit()


def quoted(value: object) -> str:
    return str(value) if isinstance(value, int | float) else "'" + str(value).replace("'", "''") + "'"


def one_of(folder: Path, table: str, column: str) -> tuple[int, object] | None:
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        chosen = f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL ORDER BY rowid DESC LIMIT 1"
        return next(iter(connection.execute(chosen).fetchall()), None)


def test_every_column(sound: Path, tmp_path: Path) -> None:
    folder, unseen = Path(shutil.copytree(sound, tmp_path / "data")), []
    for table in TUFT_TABLES:
        changed(folder, f"DROP TRIGGER {table.__tablename__}_no_update")
    for name, column in COLUMNS:
        found = one_of(folder, name, column)
        assert found, f"{name}.{column} holds nothing"
        row, value = found
        other = "'prediction'" if column == "kind" else altered(value or ("0" if value == "" else 0))
        changed(folder, f"UPDATE {name} SET {column} = {other} WHERE rowid = {row}")
        if not of_tufts(folder):
            unseen.append(f"{name}.{column}")
        back = f"rowid = {other}" if column == "id" else f"rowid = {row}"
        changed(folder, f"UPDATE {name} SET {column} = {quoted(value)} WHERE {back}")
        assert of_tufts(folder) == []
    assert unseen == []


@pytest.mark.parametrize("table", [table.__tablename__ for table in TUFT_TABLES])
def test_rows_that_were_taken_out(sound: Path, tmp_path: Path, table: str) -> None:
    folder = Path(shutil.copytree(sound, tmp_path / "data"))
    alter(folder, f"DELETE FROM {table}")
    assert any(f"Tufts, {table} " in fault for fault in of_tufts(folder))


def test_rows_are_never_altered(sound: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(sound, tmp_path / "data"))
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        for table in TUFT_TABLES:
            for statement in (f"UPDATE {table.__tablename__} SET id = id", f"DELETE FROM {table.__tablename__}"):
                with pytest.raises(sqlite3.IntegrityError, match="never altered"):
                    connection.execute(statement)
    assert Base.metadata
