"""Which sign separates the cells of a table, and which is its decimal mark.

The pair is taken under which most cells of most lines are numbers and times.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import LogError
from server.readers.cells import Kind, kind_of

WHITESPACE = " "
SEPARATORS = (",", ";", "\t", "|")
MEASURES: frozenset[Kind] = frozenset({"number", "clock", "date", "datetime", "angle"})
COMMENT = re.compile(r"\s*(#|%|//|!)")
LAST_LINES = 40
_EARLIER_LINES = 10
_NUMERIC_ROW = 0.4
_SURE, _HOPELESS = 0.5, 0.2


@dataclass(frozen=True, slots=True)
class Separation:
    """Separator, decimal mark, and the number of cells that most rows of data have."""

    separator: str
    decimal: str
    width: int


def find_separation(name: str, lines: Sequence[str]) -> Separation:
    """Find separator and decimal mark from the first lines of a file.

    Raises LogError where no table of numbers is there.
    """
    looked = _spread([line for line in lines if line.strip() and not COMMENT.match(line)])
    best, top = None, _HOPELESS
    for separator in (*SEPARATORS, WHITESPACE):
        if separator == WHITESPACE and top > _SURE:
            break
        rows = [
            split_line(line, separator) for line in looked if separator in line or separator == WHITESPACE
        ]
        for decimal in _decimals(rows, separator):
            score, width = _score(rows, decimal, len(looked))
            if width >= 2 and score > top + 1e-9:
                best, top = Separation(separator, decimal, width), score
    if best is None:
        raise LogError(no_table(name, lines))
    return best


def no_table(name: str, lines: Sequence[str]) -> str:
    """Return the sentence that no table is there."""
    return f"{name} holds no table of numbers in its first {len(lines):,} lines; a log must be one."


def split_line(line: str, separator: str) -> list[str]:
    """Split one line into its cells, quotes removed."""
    if separator == WHITESPACE:
        return line.split()
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        return line.split(separator)


def measured_cells(row: Sequence[str], decimal: str = ".") -> int:
    """Number of measured cells, 0 where they are too few for a row of data."""
    kinds = [kind_of(cell, decimal) for cell in row]
    measured = sum(kind in MEASURES for kind in kinds)
    filled = sum(kind != "blank" for kind in kinds)
    return measured if filled and measured >= _NUMERIC_ROW * filled else 0


def _spread(lines: Sequence[str]) -> list[str]:
    """The last lines looked at, with a few from before."""
    if len(lines) <= LAST_LINES + _EARLIER_LINES:
        return list(lines)
    step = max((len(lines) - LAST_LINES) // _EARLIER_LINES, 1)
    return [*lines[: len(lines) - LAST_LINES : step], *lines[-LAST_LINES:]]


def _decimals(rows: Sequence[Sequence[str]], separator: str) -> tuple[str, ...]:
    """The decimal marks that are possible: no comma in any cell, no decimal comma."""
    if not any("," in cell for row in rows for cell in row):
        return (".",)
    return (".", ",") if separator == "," else (",", ".")


def _score(rows: Sequence[Sequence[str]], decimal: str, looked: int) -> tuple[float, int]:
    """Share of measured cells over the rows of the likeliest width, weighted by how many rows have it."""
    width = _width(rows, decimal)
    good = filled = whole = 0
    for row in rows:
        if width is None or len(row) != width:
            continue
        kinds = [kind_of(cell, decimal) for cell in row]
        good += sum(kind in MEASURES for kind in kinds)
        filled += sum(kind != "blank" for kind in kinds)
        whole += 1
    if width is None or not filled:
        return 0.0, 0
    return good / filled * (whole / looked) ** 0.5, width


def _width(rows: Sequence[Sequence[str]], decimal: str) -> int | None:
    """The number of cells of the rows that hold most of the measured cells."""
    weights: Counter[int] = Counter()
    for row in rows:
        measured = measured_cells(row, decimal)
        if measured and len(row) >= 2:
            weights[len(row)] += measured
    return max(weights, key=lambda width: (weights[width], width)) if weights else None
