"""What a text table looks like: separator, decimal mark, names, units, first line of data.

Found by looking at the first lines only; the data begin at the first line that has the kinds of the others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import LogError
from server.readers.cells import Kind, bare, is_grouped, kind_of
from server.readers.header import Header, find_header
from server.readers.names import is_unit_word
from server.readers.separators import (
    COMMENT,
    LAST_LINES,
    MEASURES,
    find_separation,
    measured_cells,
    no_table,
    split_line,
)

_SAMPLE_ROWS = 60
_DATA_ROW = 0.7


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


def find_layout(name: str, lines: Sequence[str]) -> Layout:
    """Find the layout from the first lines of a file.

    Raises LogError where no table of numbers is there, or names and columns do not match.
    """
    found = find_separation(name, lines)
    separator, decimal, least = found.separator, found.decimal, found.width
    rows = [split_line(line, separator) for line in lines]
    width = _full_width(rows, decimal, least)
    table = [row for row in rows if least <= len(row) <= width and measured_cells(row, decimal)]
    kinds = _majority(table, decimal, width)
    first = next((i for i, row in enumerate(rows) if _is_data(row, kinds, decimal, least)), None)
    if first is None:
        raise LogError(no_table(name, lines))
    header = find_header(name, lines[:first], rows[:first], width, separator)
    if header.names and any(measured_cells(row, decimal) for row in rows[header.end : first]):
        first = header.end  # lines of data with too many cells stand first
    width = max(width, *(len(row) for row in rows[first:] if len(row) <= max(width, header.width)))
    data = [row for row in rows[first:] if len(row) <= width and any(row)][:_SAMPLE_ROWS]
    sample = tuple(tuple([*map(bare, row), *[""] * width][:width]) for row in data)
    return Layout(
        separator=separator,
        decimal=decimal,
        thousands=_thousands(sample, decimal),
        quoted=_needs_quotes(lines[first:], separator),
        padded=any(_is_padded(line, separator) for line in lines[first:]),
        header=header,
        first_line=first,
        kinds=_majority(sample, decimal, width),
        sample=sample,
    )


def _is_padded(line: str, separator: str) -> bool:
    """Whether blanks stand where the parser must skip them: before a quote, or as a whole cell."""
    spaced = separator + " "
    return spaced in line and (spaced + '"' in line or any(cell.isspace() for cell in line.split(separator)))


def _needs_quotes(lines: Sequence[str], separator: str) -> bool:
    """Whether quotes are part of the writing: whole in many lines, or with separators inside.

    A stray one must not swallow lines; where quotes are none, they are taken off cell by cell.
    """
    whole = [line for line in lines if '"' in line and line.count('"') % 2 == 0]
    inside = any(len(line.split(separator)) != len(split_line(line, separator)) for line in whole)
    return inside or len(whole) > 0.1 * len(lines)


def _majority(rows: Sequence[Sequence[str]], decimal: str, width: int) -> tuple[Kind, ...]:
    kinds: list[Kind] = []
    for index in range(width):
        counts = Counter(kind_of(row[index], decimal) for row in rows[-LAST_LINES:] if index < len(row))
        counts.pop("blank", None)
        kinds.append(counts.most_common(1)[0][0] if counts else "blank")
    return tuple(kinds)


def _full_width(rows: Sequence[Sequence[str]], decimal: str, width: int) -> int:
    """The width of a row of names, where most rows of data end early but some are as wide."""
    wider = {len(row) for row in rows if len(row) > width and measured_cells(row, decimal)}
    named = {len(row) for row in rows if all(kind_of(cell, decimal) == "text" for cell in row)}
    return max(wider & named, default=width)


def _is_data(row: Sequence[str], kinds: Sequence[Kind], decimal: str, least: int) -> bool:
    """Whether most filled cells are of their column's kind, one measured among them and no unit."""
    if not 2 <= len(row) <= len(kinds) or len(row) < 0.5 * least or COMMENT.match(row[0]):
        return False
    if any(usual == "number" and is_unit_word(cell) for cell, usual in zip(row, kinds, strict=False)):
        return False
    own = [kind_of(cell, decimal) for cell in row[: len(kinds)]]
    filled = [(mine, usual) for mine, usual in zip(own, kinds, strict=False) if mine != "blank"]
    same = sum(usual in (mine, "blank") for mine, usual in filled)
    return bool(filled) and same >= _DATA_ROW * len(filled) and any(mine in MEASURES for mine, _ in filled)


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
