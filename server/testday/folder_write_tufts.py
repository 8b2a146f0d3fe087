"""Tuft photos of a day as the files of a day folder that `folder_tufts` reads back."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from server.testday.folder_tufts import MARKS, PHOTOS, STATIONS, VIEWS, FolderMark, FolderPhoto, FolderTufts, FolderView
from server.testday.tufts import TuftStation

MM = 1000.0
_PHOTO_NAMES = "photo kind run setup part view run_by standing flow_deg burst who notes"
_MARK_NAMES = (
    "photo reader mark x_px y_px direction_deg condition station by "
    "length_px direction_u_deg settled_by settled_confidence spread_deg"
)
_STATION_NAMES = "part station x_mm y_mm direction_deg condition setup"
_VIEW_NAMES = "view part photo point x_mm y_mm x_px y_px"
DEGREE_DIGITS, MM_DIGITS = 6, 4
Cell = str | float | int | None


def tuft_files(tufts: FolderTufts) -> dict[str, bytes]:
    """Path in the folder → bytes of each of the tables that hold anything."""
    tables = {
        PHOTOS: (_PHOTO_NAMES, [_photo(one) for one in tufts.photos]),
        MARKS: (_MARK_NAMES, [_mark(one) for one in tufts.marks]),
        STATIONS: (_STATION_NAMES, [_station(one) for one in tufts.stations]),
        VIEWS: (_VIEW_NAMES, [row for one in tufts.views for row in _view(one)]),
    }
    return {path: _csv(names.split(), rows) for path, (names, rows) in tables.items() if rows}


def _photo(one: FolderPhoto) -> list[Cell]:
    settled, standing = "person" if one.settled else "clock", "yes" if one.standing else ""
    said: list[Cell] = [one.path, one.kind, one.run, one.setup, one.part, one.view, settled, standing]
    return [*said, _degrees(one.flow_rad), one.burst, one.who, one.notes]


def _mark(one: FolderMark) -> list[Cell]:
    mark = one.mark
    placed: list[Cell] = [one.photo, one.reader, one.name, mark.x_px, mark.y_px, _degrees(mark.direction_rad)]
    settled: list[Cell] = [mark.direction_settled_by, mark.settled_confidence]
    read: list[Cell] = [mark.length_px, _degrees(mark.direction_u_rad), *settled, _degrees(mark.spread_rad)]
    return [*placed, mark.condition, mark.station, mark.by, *read]


def _station(one: TuftStation) -> list[Cell]:
    return [one.part, one.name, _mm(one.x_m), _mm(one.y_m), _degrees(one.direction_rad), one.condition, one.setup]


def _view(one: FolderView) -> Iterable[list[Cell]]:
    for pair in one.pairs:
        yield [one.view, one.part, one.photo, pair.name, _mm(pair.x_m), _mm(pair.y_m), pair.x_px, pair.y_px]


def _degrees(angle_rad: float | None) -> float | None:
    return None if angle_rad is None else round(math.degrees(angle_rad), DEGREE_DIGITS)


def _mm(value_m: float) -> float:
    return round(value_m * MM, MM_DIGITS)


def _csv(names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    out = io.StringIO()
    written = csv.writer(out, lineterminator="\n")
    written.writerow(names)
    written.writerows([_text(cell) for cell in row] for row in rows)
    return out.getvalue().encode()


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:.10g}" if isinstance(cell, float) else str(cell)
