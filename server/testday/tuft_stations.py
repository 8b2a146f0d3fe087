"""The stations of tufts on parts, with the predicted surface flow there, from a CSV of one station a line:

    part, station, x_mm, y_mm, direction_deg, condition, setup

x_mm, y_mm: place on the part, as its drawing has it; direction_deg: where the prediction's surface flow goes, from +x
towards +y; condition: attached, unsteady, separated or reversed. These two may be blank: nothing is predicted there.
setup: whose prediction the line is; blank, or without that column, it holds for all setups.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import cast

from server.testday.folder_csv import read_lines
from server.testday.folder_keys import Key
from server.testday.folder_numbers import needed_number, number
from server.testday.folder_table import Table
from server.testday.tufts import CONDITIONS, Condition, TuftStation
from server.testday.values import Finding

MOST_STATIONS = 2000
_PLACE = tuple(Key(axis, "mm", "a place on a part", -20_000, 20_000) for axis in "xy")
_DIRECTION = Key("direction", "deg", "a direction", -360, 360)
_NUMBERS = tuple(key.name for key in (*_PLACE, _DIRECTION))
_TEXTS = ("part", "station", "condition", "setup")


def read_stations(path: Path, name: str, findings: list[Finding]) -> tuple[TuftStation, ...]:
    """Read the stations of a CSV (comma, semicolon or tab); `name` is how sentences call the file.

    Unknown columns are noted in `findings`. Raises DayFolderError that names file, line and column where a line lacks
    its part, station or place, says an unknown condition, repeats a station of its part, or there are none or too many.
    """
    lines = read_lines(path, name, _NUMBERS, _TEXTS, findings)
    whole = Table({}, name, "", findings)
    if not lines:
        whole.refuse("", "holds no station; each line is part, station, x_mm, y_mm, direction_deg, condition.")
    if len(lines) > MOST_STATIONS:
        whole.refuse("", f"holds {len(lines):,} stations; {MOST_STATIONS:,} are the most.")
    seen: dict[tuple[str, str, str], str] = {}
    return tuple(_station(line, seen) for line in lines)


def _station(line: Table, seen: dict[tuple[str, str, str], str]) -> TuftStation:
    part, station = (_needed_name(line, key) for key in ("part", "station"))
    setup = line.name("setup") or ""
    if (part, station, setup) in seen:
        line.refuse("station", f"is {station!r} of part {part!r} again; {seen[part, station, setup]} has it already.")
    seen[part, station, setup] = line.label
    x, y = (needed_number(line, key) for key in _PLACE)
    direction = number(line, _DIRECTION)
    condition = cast("Condition | None", line.word("condition", CONDITIONS, "a condition"))
    wrapped = None if direction is None else math.remainder(direction, math.tau)
    return TuftStation(part, station, x, y, wrapped, condition, setup)


def _needed_name(line: Table, key: str) -> str:
    name = line.name(key)
    if name is None:
        line.missing(key, "; a station belongs to a part and has a name")
    return name
