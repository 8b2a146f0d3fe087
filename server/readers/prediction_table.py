"""A table of predictions as it came: text of any separator, decimal mark and encoding, or a workbook's sheet.

Small tables only: every line keeps its number and every cell its text, so that a fault can be named by both.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import LogError
from server.readers.encoding import detect_encoding
from server.readers.names import ColumnName, column_names, kept_apart, unit_share
from server.readers.prediction_cells import decimal_of, has_number
from server.readers.refusals import refuse_binary, refuse_signature
from server.readers.separators import SEPARATORS

MOST_BYTES = 5_000_000
MOST_ROWS = 5_000
MOST_COLUMNS = 200
MOST_SIGNS = 2_000
_DATA_SHARE = 0.2
_UNIT_ROW = 0.6
_COMMENT = re.compile(r"^\s*(?:#+|%+|//+)\s*")

Line = tuple[int, list[str]]


@dataclass(frozen=True, slots=True)
class GivenRow:
    """A line of data by its number in the file, its cells as written."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GivenTable:
    """The table: its columns, its rows, its decimal mark as it looks, and in a sentence what it was taken to be."""

    name: str
    columns: tuple[ColumnName, ...]
    rows: tuple[GivenRow, ...]
    decimal: str
    description: str

    @property
    def shape(self) -> str:
        """One hash for the headers, units and order of the columns: tables of one shape are read alike."""
        text = "\n".join(f"{one.name.casefold()}\t{one.unit or ''}" for one in self.columns)
        return hashlib.sha256(text.encode()).hexdigest()


def read_table(name: str, data: bytes) -> GivenTable:
    """Read a table from a file's bytes. Raises LogError, one sentence."""
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1e6:.1f} MB"
        raise LogError(f"{name} has {size}; a table of predictions has {MOST_BYTES / 1e6:.0f} MB at most.")
    if data[:4] == b"PK\x03\x04":
        from server.readers.prediction_workbook import workbook_lines  # the format's library, where it is needed

        lines, spoken = workbook_lines(name, data)
        return _table(name, lines, ".", spoken)
    refuse_signature(name, data)
    encoding = detect_encoding(data)
    text = data[encoding.mark :].decode(encoding.codec, errors="replace").removeprefix("\ufeff")
    refuse_binary(name, text.encode("utf-8", "replace"))
    separator, lines = _split(name, text)
    cells = [cell for _, row in lines for cell in row]
    spoken = {"\t": "tabs", " ": "blanks"}.get(separator, f"“{separator}”")
    return _table(name, lines, decimal_of(cells, separator), f"{encoding.spoken}, cells parted by {spoken}")


def _split(name: str, text: str) -> tuple[str, list[Line]]:
    """The separator under which most lines have the same number of cells, and those lines."""
    best: tuple[float, str, list[Line]] | None = None
    for separator in SEPARATORS:
        lines = _lines(name, text, separator)
        counts = Counter(len(row) for _, row in lines if len(row) > 1)
        if not counts:
            continue
        width, count = max(counts.items(), key=lambda one: (one[1] * one[0] ** 0.5, one[0]))
        numbers = sum(has_number(cell) for _, row in lines if len(row) == width for cell in row)
        score = count / len(lines) + 0.1 * numbers / max(1, count * width)
        if best is None or score > best[0] + 1e-9:
            best = score, separator, lines
    if best is None:
        raise LogError(f"{name} holds no table: no line of it has two cells parted by comma, semicolon, tab or “|”.")
    return best[1], best[2]


def _lines(name: str, text: str, separator: str) -> list[Line]:
    """The lines that hold anything, by the number of the line that each begins at."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    found: list[Line] = []
    first = 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                found.append((first, [cell.strip() for cell in row]))
            first = reader.line_num + 1
    except csv.Error as error:
        raise LogError(f"{name}: line {first} cannot be told apart into cells ({error}).") from None
    return found


def _table(name: str, lines: Sequence[Line], decimal: str, spoken: str) -> GivenTable:
    first = next((at for at, (_, row) in enumerate(lines) if _is_data(row)), None)
    if first is None:
        raise LogError(f"{name} holds no line with numbers; a table of predictions has one case a line.")
    if first == 0:
        raise LogError(f"{name}: line {lines[0][0]} holds numbers already; a line of names must stand above it.")
    names, units = _header(lines[:first])
    rows = lines[first:]
    width = max(len(names), *(len(row) for _, row in rows))
    if width > MOST_COLUMNS or len(rows) > MOST_ROWS:
        raise LogError(
            f"{name} has {len(rows):,} rows and {width:,} columns; {MOST_ROWS:,} and {MOST_COLUMNS} are read at most."
        )
    long = next((line for line, row in rows for cell in row if len(cell) > MOST_SIGNS), None)
    if long is not None:
        raise LogError(f"{name}: line {long} holds a cell of more than {MOST_SIGNS:,} signs.")
    columns, _ = kept_apart(column_names(names, units, width))
    given = tuple(GivenRow(line, tuple([*row, *[""] * width][:width])) for line, row in rows)
    below = ", units in a row below the names" if units else ""
    return GivenTable(name, tuple(columns), given, decimal, f"{spoken}, {len(given)} rows, {width} columns{below}")


def _is_data(row: Sequence[str]) -> bool:
    """Whether enough of a line's filled cells hold numbers; a line of names or of a title does not."""
    filled = [cell for cell in row if cell]
    numbers = sum(has_number(cell) for cell in filled)
    return len(filled) > 1 and numbers >= max(1.0, _DATA_SHARE * len(filled))


def _header(above: Sequence[Line]) -> tuple[list[str], list[str] | None]:
    """The names, and the row of units below (or above) them; what stands higher are titles."""
    rows = [[_COMMENT.sub("", cell) if at == 0 else cell for at, cell in enumerate(row)] for _, row in above]
    last = rows[-1]
    if len(rows) > 1 and unit_share(last) >= _UNIT_ROW and sum(map(bool, rows[-2])) > 1:
        return rows[-2], last
    if len(rows) > 1 and unit_share(rows[-2]) >= _UNIT_ROW and sum(map(bool, rows[-2])) > 1:
        return last, rows[-2]
    return last, None
