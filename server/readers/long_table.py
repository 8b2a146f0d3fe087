"""Long tables: one sample a line, with the signal's name in a column."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.readers.cells import number_of
from server.readers.columns import Column
from server.readers.layout import Layout
from server.readers.names import ColumnName, split_name
from server.readers.table import Table

_SIGNAL = re.compile(
    r"(?:signal|channel|variable|parameter|param|sensor|measurement|quantity|kanal|canal|grandeur|messgr(?:ö|oe)(?:ß|ss)e|name|id|item|key|tag)"
    r"(?:[ _.-]?(?:name|id))?",
    re.IGNORECASE,
)
_VALUE = re.compile(
    r"(?:value|val|values|reading|wert|messwert|valeur|valor|data|measurement|y)(?:[ _.-]?(?:si|phys|num))?",
    re.IGNORECASE,
)
_UNIT = re.compile(r"(?:unit|units|einheit|unit(?:é|e)|unidade|unidad)", re.IGNORECASE)
_MAX_COLUMNS = 6


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Column numbers of the signal's name, the value and (where there is one) the unit."""

    signal: int
    value: int
    unit: int | None = None

    @property
    def taken(self) -> frozenset[int]:
        """Both and the unit."""
        return frozenset(c for c in (self.signal, self.value, self.unit) if c is not None)


def find_long(columns: Sequence[ColumnName], layout: Layout) -> LongColumns | None:
    """Find a long table's columns by their names, or by their contents where there are no names."""
    if layout.n_columns > _MAX_COLUMNS:
        return None
    words = [i for i, kind in enumerate(layout.kinds) if kind == "text"]
    numbers = [i for i, kind in enumerate(layout.kinds) if kind == "number"]
    if layout.header.names is None:
        repeated = len(words) == 1 and len({row[words[0]] for row in layout.sample}) >= 2
        return LongColumns(words[0], numbers[-1]) if repeated and layout.n_columns == 3 and numbers else None
    signal = next((i for i in words if _SIGNAL.fullmatch(columns[i].name)), None)
    value = next((i for i in numbers if _VALUE.fullmatch(columns[i].name)), None)
    if signal is None or value is None:
        return None
    unit = next((i for i in words if _UNIT.fullmatch(columns[i].name) and i != signal), None)
    return LongColumns(signal, value, unit)


def split_signals(table: Table, long: LongColumns) -> list[tuple[Column, NDArray[np.intp]]]:
    """Split the value column by signal: each signal's samples and the rows they stand in."""
    names = table.words(long.signal)
    codes = table.mapped(long.signal, {word: float(i) for i, word in enumerate(names)}, keep_numbers=False)
    values = table.mapped(long.value, {word: number_of(word) for word in table.words(long.value)})
    order = np.argsort(codes, kind="stable")
    edges = np.searchsorted(codes[order], np.arange(len(names) + 1))
    units = _units(
        table, long, [order[edges[i]] if edges[i] < edges[i + 1] else -1 for i in range(len(names))]
    )
    parts = []
    for i, written in enumerate(names):
        rows = order[edges[i] : edges[i + 1]]
        name, unit = split_name(written)
        parts.append((Column(name or written, units[i] or unit, values[rows]), rows))
    return parts


def _units(table: Table, long: LongColumns, rows: Sequence[int]) -> list[str | None]:
    """The unit that stands in each signal's first row."""
    if long.unit is None:
        return [None] * len(rows)
    words = table.words(long.unit)
    codes = table.mapped(long.unit, {word: float(i) for i, word in enumerate(words)}, keep_numbers=False)
    return [words[int(codes[row])] if row >= 0 and np.isfinite(codes[row]) else None for row in rows]
