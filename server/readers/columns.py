"""One column of the table as numbers: plain, angles, gear letters, switches; or words, which are left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.readers.cells import is_blank, kind_of, number_of
from server.readers.names import ColumnName
from server.readers.positions import (
    angle_degrees,
    from_degree_minutes,
    is_degree_minutes,
    is_latitude,
    is_longitude,
)
from server.readers.states import GEAR_UNIT, gear_values, switch_values
from server.readers.table import Table
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A column as numbers, shape (n_rows,), NaN where there is no sample; None for a column of words.

    unreadable: cells that are neither number nor blank. degree_minutes: read as degrees and minutes.
    """

    name: str
    unit: str | None
    values: FloatArray | None
    unreadable: int = 0
    example: str = ""
    degree_minutes: bool = False

    @property
    def is_void(self) -> bool:
        """Whether the column is one of numbers without any."""
        return self.values is not None and not np.isfinite(self.values).any()


def read_columns(
    table: Table, names: Sequence[ColumnName], taken: frozenset[int], timed: NDArray[np.bool_]
) -> list[Column]:
    """Read every column that is not taken (by the time).

    timed: which rows have a time, shape (n_rows,); cells of the others do not count as unreadable.
    """
    sides = _sides(table, names)
    return [
        _read(table, names, index, sides.get(index), timed)
        for index in range(len(names))
        if index not in taken and index not in sides.values()
    ]


def _read(
    table: Table, names: Sequence[ColumnName], index: int, side: int | None, timed: NDArray[np.bool_]
) -> Column:
    column = _as_numbers(table, names[index], index, timed)
    if column.values is None:
        return column
    latitude = is_latitude(column.name)
    if not latitude and not is_longitude(column.name):
        return column
    values, was_minutes = column.values, column.degree_minutes
    limit = 90.0 if latitude else 180.0
    if not was_minutes and (is_degree_minutes(values, limit) or _partner_in_minutes(table, names, index)):
        values, was_minutes = from_degree_minutes(values), True
    if side is not None:
        values = np.abs(values) * table.mapped(side, {word: _sign(word) for word in table.words(side)})
    unit = "deg" if was_minutes or side is not None else column.unit
    return Column(column.name, unit, values, column.unreadable, column.example, was_minutes)


def _as_numbers(table: Table, name: ColumnName, index: int, timed: NDArray[np.bool_]) -> Column:
    words = [word for word in table.words(index) if not is_blank(word)]
    if not words:
        return Column(name.name, name.unit, table.numbers[index])
    if gears := gear_values(words):
        return Column(name.name, GEAR_UNIT, table.mapped(index, gears))
    if switch := switch_values(words):
        return Column(name.name, name.unit or "-", table.mapped(index, switch))
    angles = {word: angle_degrees(word) for word in words if kind_of(word) == "angle"}
    values = table.mapped(index, angles) if angles else table.numbers[index]
    odd = [word for word in words if word not in angles and np.isnan(number_of(word))]
    unread = _count(table, index, set(odd), timed)
    if unread > np.count_nonzero(~np.isnan(values)):
        return Column(name.name, name.unit, None)
    return Column(
        name.name, "deg" if angles else name.unit, values, unread, odd[0] if odd else "", bool(angles)
    )


def _count(table: Table, index: int, words: set[str], timed: NDArray[np.bool_]) -> int:
    total = 0
    for part in table.texts.get(index, ()):
        wanted = [code for code, word in enumerate(part.words) if word in words]
        rows = slice(part.first_row, part.first_row + len(part.codes))
        total += int((np.isin(part.codes, wanted) & timed[rows]).sum())
    return total


def _sides(table: Table, names: Sequence[ColumnName]) -> dict[int, int]:
    """Position column → the column of N/S or E/W that stands behind or before it."""
    found: dict[int, int] = {}
    for index, name in enumerate(names):
        letters = "NS" if is_latitude(name.name) else "EW" if is_longitude(name.name) else ""
        for other in (index + 1, index - 1):
            if letters and 0 <= other < len(names) and index not in found:
                words = {word.strip().upper() for word in table.words(other)}
                if words and words <= set(letters):
                    found[index] = other
    return found


def _sign(word: str) -> float:
    return -1.0 if word.strip().upper() in ("S", "W") else 1.0


def _partner_in_minutes(table: Table, names: Sequence[ColumnName], index: int) -> bool:
    """A longitude below 180 is still degrees and minutes where the latitude beside it can only be."""
    if not is_longitude(names[index].name):
        return False
    return any(is_latitude(n.name) and is_degree_minutes(table.numbers[i], 90.0) for i, n in enumerate(names))
