"""What a text table looks like: separator, decimal mark, names, units, first line of data.

Found by looking at the first lines only. The separator is the one under which most cells of most lines are
numbers and times; the data begin at the first line that has the kinds of the others.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import LogError
from server.readers.cells import Kind, bare, is_grouped, kind_of
from server.readers.header import Header, find_header

WHITESPACE = " "
SEPARATORS = (",", ";", "\t", "|")
SPOKEN_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", WHITESPACE: "blank"}
_LAST_LINES, _EARLIER_LINES = 40, 10
_SAMPLE_ROWS = 60
_NUMERIC_ROW = 0.4
_DATA_ROW = 0.7
_MEASURES = frozenset({"number", "clock", "date", "datetime", "angle"})
_COMMENT = re.compile(r"\s*(#|%|//|!)")


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read the table. Lines count from 0; kinds are those of most of the rows looked at."""

    separator: str
    decimal: str
    thousands: str | None
    quoted: bool
    padded: bool
    header: Header
    first_line: int
    kinds: tuple[Kind, ...]
    sample: tuple[tuple[str, ...], ...]

    @property
    def n_columns(self) -> int:
        """Number of columns."""
        return len(self.kinds)


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


def find_layout(name: str, lines: Sequence[str]) -> Layout:
    """Find the layout from the first lines of a file.

    Raises LogError where no table of numbers is there, or names and columns do not match.
    """
    looked = _spread([line for line in lines if line.strip() and not _COMMENT.match(line)])
    best: tuple[float, str, str, int] | None = None
    for separator in (*SEPARATORS, WHITESPACE):
        if separator == WHITESPACE and best is not None and best[0] > 0.5:
            break
        rows = [
            split_line(line, separator) for line in looked if separator in line or separator == WHITESPACE
        ]
        for decimal in _decimals(rows, separator):
            score, width = _score(rows, decimal, len(looked))
            if width >= 2 and (best is None or score > best[0] + 1e-9):
                best = (score, separator, decimal, width)
    if best is None or best[0] < 0.2:
        raise LogError(
            f"{name} holds no table of numbers in its first {len(lines):,} lines; a log must be one."
        )
    return _describe(name, lines, *best[1:])


def _is_padded(line: str, separator: str) -> bool:
    """Whether blanks stand where the parser must skip them: before a quote, or as a whole cell."""
    spaced = separator + " "
    return spaced in line and (spaced + '"' in line or any(cell.isspace() for cell in line.split(separator)))


def _spread(lines: Sequence[str]) -> list[str]:
    """The last lines looked at, with a few from before."""
    if len(lines) <= _LAST_LINES + _EARLIER_LINES:
        return list(lines)
    step = max((len(lines) - _LAST_LINES) // _EARLIER_LINES, 1)
    return [*lines[: len(lines) - _LAST_LINES : step], *lines[-_LAST_LINES:]]


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
        good += sum(kind in _MEASURES for kind in kinds)
        filled += sum(kind != "blank" for kind in kinds)
        whole += 1
    if width is None or not filled:
        return 0.0, 0
    return good / filled * (whole / looked) ** 0.5, width


def _width(rows: Sequence[Sequence[str]], decimal: str) -> int | None:
    """The number of cells of the rows that hold most of the measured cells."""
    weights: Counter[int] = Counter()
    for row in rows:
        measured = _numeric(row, decimal)
        if measured and len(row) >= 2:
            weights[len(row)] += measured
    return max(weights, key=lambda width: (weights[width], width)) if weights else None


def _numeric(row: Sequence[str], decimal: str) -> int:
    """Number of measured cells, 0 where they are too few for a row of data."""
    kinds = [kind_of(cell, decimal) for cell in row]
    measured = sum(kind in _MEASURES for kind in kinds)
    filled = sum(kind != "blank" for kind in kinds)
    return measured if filled and measured >= _NUMERIC_ROW * filled else 0


def _describe(name: str, lines: Sequence[str], separator: str, decimal: str, width: int) -> Layout:
    rows = [split_line(line, separator) for line in lines]
    kinds = _majority([row for row in rows if len(row) == width and _numeric(row, decimal)], decimal, width)
    starts = (
        i for i, row in enumerate(rows) if not _COMMENT.match(lines[i]) and _is_data(row, kinds, decimal)
    )
    first = next(starts, None)
    if first is None:
        raise LogError(
            f"{name} holds no table of numbers in its first {len(lines):,} lines; a log must be one."
        )
    header = find_header(name, lines[:first], rows[:first], width, separator)
    width = max(width, *(len(row) for row in rows[first:] if len(row) <= max(width, header.width)))
    data = [row for row in rows[first:] if len(row) <= width and any(row)][:_SAMPLE_ROWS]
    sample = tuple(tuple([*map(bare, row), *[""] * width][:width]) for row in data)
    return Layout(
        separator=separator,
        decimal=decimal,
        thousands=_thousands(sample, decimal),
        quoted=any('"' in line for line in lines[first:]),
        padded=any(_is_padded(line, separator) for line in lines[first:]),
        header=header,
        first_line=first,
        kinds=_majority(sample, decimal, width),
        sample=sample,
    )


def _majority(rows: Sequence[Sequence[str]], decimal: str, width: int) -> tuple[Kind, ...]:
    kinds: list[Kind] = []
    for index in range(width):
        counts = Counter(kind_of(row[index], decimal) for row in rows[-_LAST_LINES:])
        counts.pop("blank", None)
        kinds.append(counts.most_common(1)[0][0] if counts else "blank")
    return tuple(kinds)


def _is_data(row: Sequence[str], kinds: Sequence[Kind], decimal: str) -> bool:
    """Whether most filled cells are of their column's kind, one measured among them."""
    if not 2 <= len(row) <= len(kinds) + 1 or len(row) < 0.5 * len(kinds):
        return False
    own = [kind_of(cell, decimal) for cell in row[: len(kinds)]]
    filled = [(mine, usual) for mine, usual in zip(own, kinds, strict=False) if mine != "blank"]
    same = sum(usual in (mine, "blank") for mine, usual in filled)
    return bool(filled) and same >= _DATA_ROW * len(filled) and any(mine in _MEASURES for mine, _ in filled)


def _thousands(sample: Sequence[Sequence[str]], decimal: str) -> str | None:
    """The mark between thousands, where cells show one and none contradicts it."""
    cells = [cell for row in sample for cell in row]
    grouped = [cell for cell in cells if is_grouped(cell, decimal)]
    marks = Counter(
        char for cell in grouped for char in cell if not char.isdigit() and char not in "+-" + decimal
    )
    if len(marks) != 1:
        return None
    mark = next(iter(marks))
    clash = any(
        mark in cell and kind_of(cell, decimal) == "number" and not is_grouped(cell, decimal)
        for cell in cells
    )
    return None if clash or not mark.isascii() else mark
