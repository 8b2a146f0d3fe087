"""The numbers behind a figure, as rows: read on the page, saved as CSV."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

Cell = str | int | float | None
_CONTROL = re.compile(r"[\t\r\n]+")


@dataclass(frozen=True, slots=True)
class Table:
    """Column names with units, and the rows a figure draws; floats at full precision."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def to_csv(self) -> str:
        """The table as RFC 4180 CSV; a missing cell is empty, floats keep every digit.

        Text that a spreadsheet would run as a formula is led by an apostrophe.
        """
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow([_csv_cell(column) for column in self.columns])
        for row in self.rows:
            writer.writerow([_csv_cell(cell) for cell in row])
        return out.getvalue()

    def to_tsv(self) -> str:
        """The table as lines of cells with tabs between them, as a spreadsheet takes them from the clipboard."""
        lines = [[_csv_cell(cell) for cell in row] for row in (self.columns, *self.rows)]
        return "\n".join("\t".join(_CONTROL.sub(" ", cell) for cell in line) for line in lines)


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
    return repr(cell)
