"""Arrow columns as the numbers and words of a table, with names, units and kinds.

Moments are spelled out as ISO 8601 and durations become seconds, so that the rules for times of text hold.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from server.readers.cells import Kind
from server.readers.header import Header
from server.readers.layout import Layout
from server.readers.table import Table, TextPart, read_words
from server.readers.word_kind import usual_kind
from server.testday.values import FloatArray

if TYPE_CHECKING:
    import pyarrow as pa

_SAMPLE_ROWS = 60
_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
_UNIT_KEYS = ("unit", "units")


@dataclass(slots=True)
class ArrowColumn:
    """A column of numbers or words: its place in the file, name and unit, and kind once cells were seen.

    indexes: a data frame's index, which may have no name.
    """

    place: int
    name: str
    unit: str
    kind: Kind | None
    indexes: bool = False

    def read(self, cells: pa.Array, first_row: int) -> tuple[FloatArray, TextPart | None]:
        """Read a batch: numbers, NaN where blank or no number, and the words where one of them is no number."""
        import pyarrow as pa
        import pyarrow.types as kinds

        if kinds.is_duration(cells.type):
            seconds = _SECONDS[cells.type.unit]
            return _floats(cells.cast(pa.int64())) * seconds, None
        if kinds.is_null(cells.type):
            return np.full(len(cells), np.nan), None
        if kinds.is_dictionary(cells.type) and not _is_words(cells.type.value_type):
            cells = cells.cast(cells.type.value_type)
        if _is_numbers(cells.type):
            return _floats(cells), None
        coded = cells if kinds.is_dictionary(cells.type) else _spelled(cells).dictionary_encode()
        words = [word or "" for word in coded.dictionary.cast(pa.string()).to_pylist()]
        codes = np.asarray(coded.indices.cast(pa.int64()).fill_null(-1).to_numpy(zero_copy_only=False), dtype=np.intp)
        if self.kind is None and words:
            self.kind = usual_kind(words)
        return read_words(codes, words, self.kind or "blank", first_row)


def rows_of(schema: pa.Schema) -> list[ArrowColumn]:
    """List the columns that hold numbers, moments or words; a data frame's index comes first."""
    metadata = _metadata(schema.metadata)
    index = _index_columns(metadata.get("pandas", ""))
    units = _units(metadata)
    columns = []
    for place, field in enumerate(schema):
        kind, usable = _kind(field.type)
        if usable:
            nameless = field.name in index and field.name.startswith("__index_level_")
            unit = _own_unit(field.metadata) or units.get(field.name, "")
            unit = "s" if _is_duration(field.type) else unit
            columns.append(ArrowColumn(place, "" if nameless else field.name, unit, kind, field.name in index))
    return sorted(columns, key=lambda column: not column.indexes)


def column_layout(columns: list[ArrowColumn], table: Table) -> Layout:
    """Describe the columns as the layout of a table whose names and units were written above it."""
    names = tuple(column.name for column in columns)
    units = tuple(column.unit for column in columns)
    return Layout(
        separator="",
        decimal=".",
        thousands=None,
        quoted=False,
        padded=False,
        header=Header(names, units if any(units) else None, 0, 0),
        first_line=0,
        kinds=tuple(column.kind or "blank" for column in columns),
        sample=tuple(zip(*(_first_cells(table, i) for i in range(len(columns))), strict=True)),
    )


def _first_cells(table: Table, column: int) -> list[str]:
    count = min(_SAMPLE_ROWS, table.n_rows)
    cells = ["" if np.isnan(v) else repr(float(v)) for v in table.numbers[column, :count]]
    for part in table.texts.get(column, ())[:1]:
        words = [part.words[code] if code >= 0 else "" for code in part.codes[:count]]
        cells = [word or cell for word, cell in zip(words, cells, strict=True)]
    return cells


def _floats(cells: pa.Array) -> FloatArray:
    import pyarrow as pa

    return np.asarray(cells.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False), dtype=np.float64)


def _spelled(cells: pa.Array) -> pa.Array:
    """Moments as ISO 8601, those of a known zone in UTC with a Z behind."""
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.types as kinds

    zoned = kinds.is_timestamp(cells.type) and cells.type.tz is not None
    if zoned:
        cells = cells.cast(pa.timestamp(cells.type.unit))  # Arrow keeps UTC beneath every zone
    text = cells.cast(pa.string())
    return pc.binary_join_element_wise(text, "Z", "") if zoned else text


def _kind(of: pa.DataType) -> tuple[Kind | None, bool]:
    """The kind of a column's cells (None: its words tell), and whether it can be read."""
    import pyarrow.types as kinds

    tests: tuple[tuple[bool, Kind | None], ...] = (
        (_is_numbers(of) or kinds.is_duration(of), "number"),
        (kinds.is_timestamp(of), "datetime"),
        (kinds.is_date(of), "date"),
        (kinds.is_time(of), "clock"),
        (kinds.is_null(of), "blank"),
        (_is_words(of), None),
    )
    if kinds.is_dictionary(of):
        return _kind(of.value_type) if _is_words(of.value_type) or _is_numbers(of.value_type) else (None, False)
    return next(((kind, True) for fits, kind in tests if fits), (None, False))


def _is_numbers(of: pa.DataType) -> bool:
    import pyarrow.types as kinds

    return any(test(of) for test in (kinds.is_integer, kinds.is_floating, kinds.is_decimal, kinds.is_boolean))


def _is_words(of: pa.DataType) -> bool:
    import pyarrow.types as kinds

    return any(test(of) for test in (kinds.is_string, kinds.is_large_string, kinds.is_string_view))


def _is_duration(of: pa.DataType) -> bool:
    import pyarrow.types as kinds

    return bool(kinds.is_duration(of))


def _metadata(raw: Mapping[bytes, bytes] | None) -> dict[str, str]:
    return {key.decode("utf-8", "replace"): value.decode("utf-8", "replace") for key, value in (raw or {}).items()}


def _own_unit(raw: Mapping[bytes, bytes] | None) -> str:
    """The unit that stands in a column's own metadata."""
    return next((text for key, text in _metadata(raw).items() if key.casefold() in _UNIT_KEYS), "")


def _units(metadata: Mapping[str, str]) -> dict[str, str]:
    """Units by column in the file's metadata, or among the attributes that pandas keeps there."""
    attributes = _json(metadata.get("pandas", "")).get("attributes")
    for key in _UNIT_KEYS:
        given = attributes.get(key) if isinstance(attributes, dict) else None
        for units in (given, _json(metadata.get(key, ""))):
            if isinstance(units, dict) and units:
                return {str(column): unit for column, unit in units.items() if isinstance(unit, str)}
    return {}


def _index_columns(text: str) -> set[str]:
    """Names of the columns that pandas wrote from a data frame's index."""
    listed = _json(text).get("index_columns", [])
    return {name for name in listed if isinstance(name, str)} if isinstance(listed, list) else set()


def _json(text: str) -> dict[str, Any]:
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}
