"""The rows above the data: which holds the names, which the units, and where they stand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import LogError
from server.readers.cells import kind_of
from server.readers.names import unit_share
from server.readers.separators import measured_cells

_COMMENT = re.compile(r"^\s*(?:#+|%+|//+|!+)\s*")
_UNIT_ROW = 0.6
_REACH = 4


@dataclass(frozen=True, slots=True)
class Header:
    """Name row and unit row with the lines they stand on (from 0); None where there is none."""

    names: tuple[str, ...] | None = None
    units: tuple[str, ...] | None = None
    name_line: int | None = None
    unit_line: int | None = None

    @property
    def end(self) -> int:
        """The line behind it; 0 where there are no names."""
        return max(self.name_line if self.name_line is not None else -1, self.unit_line or -1) + 1

    @property
    def width(self) -> int:
        """Number of names."""
        return len(self.names) if self.names else 0


def find_header(
    name: str, lines: Sequence[str], rows: Sequence[Sequence[str]], width: int, separator: str
) -> Header:
    """Find names and units in the lines above the data.

    lines, rows: those lines and their cells. width: number of columns of the data; lines of data with more
    cells may stand between.
    Raises LogError where a row is clearly one of names but has another number of them.
    """
    found: list[tuple[int, tuple[str, ...]]] = []
    wide = 0
    for index in range(len(lines) - 1, -1, -1):
        if not lines[index].strip():
            continue
        cells = _cells(lines[index], rows[index], separator)
        if not found and wide < _REACH and measured_cells(rows[index]) and len(rows[index]) > width:
            wide += 1
        elif _could_name(cells, width) or (len(cells) <= width and unit_share(cells) >= _UNIT_ROW):
            found.append((index, cells))
        elif not _COMMENT.match(lines[index]):
            break
        if len(found) == _REACH:
            break
    if not found:
        _refuse_mismatch(name, lines, rows, width)
        return Header()
    return _names_and_units(found)


def _cells(line: str, row: Sequence[str], separator: str) -> tuple[str, ...]:
    mark = _COMMENT.match(line)
    if mark:
        rest = line[mark.end() :]
        row = rest.split() if separator == " " else rest.split(separator)
    cells = [cell.strip().strip('"').strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _could_name(cells: Sequence[str], width: int) -> bool:
    """Words enough for the columns; the last few names may be missing where the data end on separators."""
    filled = [cell for cell in cells if cell]
    words = [cell for cell in filled if kind_of(cell) in ("text", "blank")]
    near = width - 1 <= len(cells) <= width + (1 if width > 2 else 0)
    return near and len(filled) >= 0.5 * width and len(words) >= 0.6 * len(filled)


def _names_and_units(found: Sequence[tuple[int, tuple[str, ...]]]) -> Header:
    """`found` runs upwards from the data. A row of units has its names above it, or else below."""
    shares = [unit_share(cells) for _, cells in found]
    (line, cells), above = found[0], found[1:]
    fuller = above and sum(map(bool, above[0][1])) >= sum(map(bool, cells))
    if fuller and shares[0] >= _UNIT_ROW and shares[1] < shares[0]:
        return Header(above[0][1], cells, above[0][0], line)
    if above and shares[1] >= _UNIT_ROW and shares[0] < _UNIT_ROW:
        return Header(cells, above[0][1], line, above[0][0])
    return Header(cells, None, line)


def _refuse_mismatch(name: str, lines: Sequence[str], rows: Sequence[Sequence[str]], width: int) -> None:
    last = next((i for i in range(len(lines) - 1, -1, -1) if lines[i].strip()), None)
    if last is None or width < 4:
        return
    cells = [cell for cell in rows[last] if cell.strip()]
    if 0.5 * width <= len(cells) and all(kind_of(cell) == "text" for cell in cells):
        raise LogError(
            f"{name}: line {last + 1} has {len(cells)} names, but the lines below it have {width} columns."
        )
