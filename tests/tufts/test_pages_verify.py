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


def altered(value: object) -> str:
    if isinstance(value, int | float):
        return str(value + 1)
    return "'" + f"{value[:-1]}{'2' if str(value).endswith('1') else '1'}".replace("'", "''") + "'"  # type: ignore[index]


def test_every_column_and_every_row(sound: Path, tmp_path: Path) -> None:
    unseen = []
    for number, (table, column) in enumerate(COLUMNS):
        folder = Path(shutil.copytree(sound, tmp_path / str(number)))
        with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
            chosen = f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL ORDER BY rowid DESC LIMIT 1"
            rows = connection.execute(chosen).fetchall()
        if not rows:
            unseen.append(f"{table}.{column} holds nothing")
            continue
        other = "'prediction'" if column == "kind" else altered(rows[0][1] or "0")
        alter(folder, f"UPDATE {table} SET {column} = {other} WHERE rowid = {rows[0][0]}")
        if not told(folder):
            unseen.append(f"{table}.{column}")
    for table in TUFT_TABLES:
        folder = Path(shutil.copytree(sound, tmp_path / table.__tablename__))
        alter(folder, f"DELETE FROM {table.__tablename__}")
        if not told(folder):
            unseen.append(table.__tablename__)
    assert unseen == []


def test_rows_are_never_altered(sound: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(sound, tmp_path / "data"))
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        for table in TUFT_TABLES:
            for statement in (f"UPDATE {table.__tablename__} SET id = id", f"DELETE FROM {table.__tablename__}"):
                with pytest.raises(sqlite3.IntegrityError, match="never altered"):
                    connection.execute(statement)
    assert Base.metadata
