"""Hand-typed times: which lines are settings, which line is the header, what its columns are."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.errors import LogError

HEAD_LINES = 30
KMH, MPH = 1.0 / 3.6, 0.44704  # m/s; the mile of 1609.344 m
SPEED_UNITS = {"kmh": KMH, "kph": KMH, "mps": 1.0, "ms": 1.0, "mph": MPH}
MARK_COLUMNS = {"seconds", "pass", "direction"}
TABLE_COLUMNS = {"seconds_out", "seconds_back", "pass"}
_SPEED = re.compile(r"(speed|speed_from|speed_to)_(kmh|kph|mps|ms|mph)")
_SETTING = re.compile(
    r"seconds_u|speed_u_(?:kmh|mps|mph)|speedometer_(?:gain|rel_u)|speedometer_offset(?:_u)?_(?:kmh|mps|mph)"
)
_WRITTEN_UNIT = {"km/h": "kmh", "m/s": "mps", "mi/h": "mph"}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: its number in the file, from 1, its cells by column, whether more cells follow."""

    line: int
    cells: Mapping[str, str]
    surplus: bool = False


@dataclass(frozen=True, slots=True)
class TypedTable:
    """A typed file taken apart. speed_scale: column → m/s of its unit; columns: as spelled here, in order.

    settings: key → (number as written, line).
    """

    name: str
    columns: tuple[str, ...]
    speed_scale: Mapping[str, float]
    settings: Mapping[str, tuple[str, int]]
    rows: tuple[Row, ...]
    decimal: str

    @property
    def both_ways(self) -> bool:
        """Whether a line holds the seconds between two speeds, each way."""
        return "speed_from" in self.columns


def take_apart(name: str, text: str) -> TypedTable | None:
    """The table in a file's text; None where its head is not that of hand-typed times.

    Raises LogError where the head is, but a line before it cannot be.
    """
    lines = text.splitlines()
    for number, line in enumerate(lines[:HEAD_LINES], start=1):
        separator = max(";\t,", key=line.count)
        found = _header([_spelled(cell) for cell in line.split(separator)])
        if found is None:
            if not _may_stand_before(line):
                return None
            continue
        columns, scale = found
        rows = _rows(lines[number:], number + 1, separator, columns)
        if not _is_by_hand(columns, rows):
            return None
        before = _settings(name, lines[: number - 1])
        return TypedTable(name, columns, scale, before, rows, "." if separator == "," else ",")
    return None


def _spelled(cell: str) -> str:
    """A header's cell in one spelling: 'Speed from [km/h]' → speed_from_kmh."""
    word = cell.strip().strip('"').casefold()
    for written, unit in _WRITTEN_UNIT.items():
        word = word.replace(written, unit)
    return re.sub(r"[^a-z0-9]+", "_", word).strip("_")


def _header(words: Sequence[str]) -> tuple[tuple[str, ...], dict[str, float]] | None:
    """Columns and the scale of those that are speeds; None where it is another header."""
    while words and not words[-1]:
        words = words[:-1]
    columns, scale = [], {}
    for word in words:
        speed = _SPEED.fullmatch(word)
        columns.append(speed[1] if speed else word)
        if speed:
            scale[speed[1]] = SPEED_UNITS[speed[2]]
    got = set(columns)
    marks = {"speed", "seconds"} <= got <= {"speed", *MARK_COLUMNS}
    table = {"speed_from", "speed_to"} < got <= {"speed_from", "speed_to", *TABLE_COLUMNS} and (
        bool(got & {"seconds_out", "seconds_back"})
    )
    if len(got) != len(columns) or not ((marks and "speed" in scale) or table):
        return None
    return tuple(columns), scale


def _may_stand_before(line: str) -> bool:
    """A blank line, a remark, or a setting."""
    return not line.strip(" ,;\t") or line.lstrip().startswith("#") or _setting(line) is not None


def _setting(line: str) -> tuple[str, str] | None:
    key, value = [*re.split(r"[=;\t,]", line.strip(), maxsplit=1), ""][:2]
    return (key.strip(), value.strip(" ,;\t")) if _SETTING.fullmatch(key.strip()) else None


def _settings(name: str, lines: Sequence[str]) -> dict[str, tuple[str, int]]:
    found: dict[str, tuple[str, int]] = {}
    for number, line in enumerate(lines, start=1):
        setting = _setting(line)
        if setting is None:
            continue
        if setting[0] in found:
            raise LogError(f"{name}: line {number} gives {setting[0]} a second time; give it once.")
        found[setting[0]] = (setting[1], number)
    return found


def _rows(lines: Sequence[str], first: int, separator: str, columns: tuple[str, ...]) -> tuple[Row, ...]:
    rows = []
    for number, line in enumerate(lines, start=first):
        cells = [cell.strip().strip('"').strip() for cell in line.split(separator)]
        if not any(cells) or line.lstrip().startswith("#"):
            continue
        padded = [*cells, *[""] * (len(columns) - len(cells))]
        rows.append(Row(number, dict(zip(columns, padded, strict=False)), any(padded[len(columns) :])))
    return tuple(rows)


def _is_by_hand(columns: tuple[str, ...], rows: Sequence[Row]) -> bool:
    """Two bare columns of time and speed are a logger's too; nobody types more than these by hand, or sees the
    car speed up in a coast-down."""
    if "direction" in columns or "pass" in columns or "speed_from" in columns:
        return True
    if len(rows) > 60:
        return False
    try:
        seconds = [float(row.cells["seconds"].replace(",", ".")) for row in rows]
    except ValueError:
        return True
    steps = sorted(b - a for a, b in pairwise(seconds))
    return not steps or steps[len(steps) // 2] >= 1.2
