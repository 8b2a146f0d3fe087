"""Column names as written in a header: the unit in them, blank ones, and duplicates kept apart."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.testday.units import is_unit

_SQUARE = re.compile(r"^(?P<name>.*?\S)?\s*\[(?P<unit>[^\[\]]*)\]\s*$", re.DOTALL)
_ROUND = re.compile(
    r"^(?P<name>.*\S)\s*(?:\((?P<round>[^()]*(?:\([^()]*\))?[^()]*)\)|\{(?P<curly>[^{}]*)\}|<(?P<angle>[^<>]*)>)\s*$",
    re.DOTALL,
)
_SLASHED = re.compile(r"^(?P<name>.*\S)\s*(?: / | in |, )\s*(?P<unit>\S+)\s*$", re.DOTALL)
_CLOCK_FORMAT = re.compile(r"[hdmsyHMSDY:./\- T,]*(?:hh|HH|h|H):?(?:mm|MM|m|M)[hdmsyfHMSDYF:./\- T,]*")
_TIME_WORD = re.compile(r"time|zeit|temps|tempo|tiempo|timestamp|date|datum", re.IGNORECASE)
_MAX_UNIT = 12


@dataclass(frozen=True, slots=True)
class ColumnName:
    """A column's name, its unit's spelling (None if none was given) and the header cell as it stands."""

    name: str
    unit: str | None
    written: str


def split_name(cell: str) -> tuple[str, str | None]:
    """Split "Speed [km/h]", "Speed (km/h)" or "Speed / km/h" into name and unit; no unit: (cell, None)."""
    cell = cell.strip()
    square = _SQUARE.match(cell)
    if square and _may_be_unit(square["unit"]):
        return (square["name"] or "").strip(), square["unit"].strip()
    enclosed = _ROUND.match(cell)
    if enclosed:
        unit = enclosed["round"] or enclosed["curly"] or enclosed["angle"] or ""
        if (
            unit
            and not _is_place(enclosed["name"], unit)
            and (is_unit(unit) or _CLOCK_FORMAT.fullmatch(unit))
        ):
            return enclosed["name"].strip(), unit.strip()
    slashed = _SLASHED.match(cell)
    if slashed and is_unit(slashed["unit"]):
        return slashed["name"].strip(), slashed["unit"]
    return cell, None


def column_names(header: Sequence[str] | None, units: Sequence[str] | None, count: int) -> list[ColumnName]:
    """Name `count` columns from a name row and a unit row; nameless ones become column_1, column_2 …"""
    columns = []
    for index in range(count):
        written = header[index].strip() if header and index < len(header) else ""
        name, unit = split_name(written)
        below = units[index].strip() if units and index < len(units) else ""
        if below:
            unit = below.strip("[](){}<>").strip() or None
        columns.append(ColumnName(name or f"column_{index + 1}", unit, written))
    return columns


def kept_apart(columns: Sequence[ColumnName]) -> tuple[list[ColumnName], list[str]]:
    """Number the later ones of equal names ("Speed", "Speed (2)"); also return which names were doubled."""
    counts = Counter(column.name for column in columns)
    doubled = [name for name, count in counts.items() if count > 1]
    taken, apart = set(counts), []
    seen: Counter[str] = Counter()
    for column in columns:
        seen[column.name] += 1
        name = column.name
        number = seen[column.name]
        while number > 1 and name in taken:
            name = f"{column.name} ({number})"
            number += 1
        taken.add(name)
        apart.append(ColumnName(name, column.unit, column.written))
    return apart, doubled


def unit_share(cells: Sequence[str]) -> float:
    """Share of the filled cells of a header row that are units; a row of long words has none."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled or any(len(cell) > _MAX_UNIT + 2 or _TIME_WORD.fullmatch(cell) for cell in filled):
        return 0.0
    return sum(is_unit(cell) or bool(_CLOCK_FORMAT.fullmatch(cell)) for cell in filled) / len(filled)


def is_unit_word(cell: str) -> bool:
    """Tell whether a cell is a unit written in letters or signs, not a number."""
    cell = cell.strip()
    return bool(cell) and not any(char.isdigit() for char in cell) and cell != "-" and is_unit(cell)


def _is_place(name: str, text: str) -> bool:
    """A number, or an F (front) that stands behind no temperature."""
    return text.strip().isdigit() or (text.strip() in "fF" and "temp" not in name.casefold())


def _may_be_unit(text: str) -> bool:
    return len(text) <= _MAX_UNIT or is_unit(text) or bool(_CLOCK_FORMAT.fullmatch(text))
