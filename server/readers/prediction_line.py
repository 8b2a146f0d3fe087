"""One row of a table of predictions: its cells by role, and faults that name line and column."""

from __future__ import annotations

from collections.abc import Callable
from typing import NoReturn, TypeVar

from server.readers.prediction_cells import CellError, Measured, measured, shortened
from server.readers.prediction_reading import Conventions, Reading
from server.readers.prediction_roles import ROLES
from server.readers.prediction_table import GivenRow, GivenTable
from server.testday.folder_keys import Key
from server.testday.quantities import UNITS

LONGEST_NAME = 80
_POSITIVE = ("density", "reference_area", "speed", "cells")

T = TypeVar("T")


class RowError(ValueError):
    """A row that cannot be used; the sentence names its line, and the column where one is to blame."""


class RowLine:
    """A row's cells by role; whatever is wrong with one raises RowError."""

    def __init__(self, table: GivenTable, reading: Reading, row: GivenRow) -> None:
        self._table, self._reading, self._row = table, reading, row
        self.said: Conventions = reading.conventions
        self.number = row.line

    def text(self, role: str, *, required: bool = False) -> str:
        """The words of a column, empty where there is none."""
        at = self._reading.at(role)
        if at is None:
            return ""
        words = " ".join(self._row.cells[at].split())
        if len(words) > LONGEST_NAME:
            self.fault(role, f"has {len(words)} signs; {LONGEST_NAME} are taken")
        if required and not words:
            self.fault(role, "is empty; a case belongs to one")
        return words

    def conditions(self) -> list[str]:
        """What else tells the case apart, as "name value"."""
        columns = enumerate(zip(self._table.columns, self._reading.columns, strict=True))
        cells = [(one.name, self._row.cells[at]) for at, (one, role) in columns if role.role == "condition"]
        return [f"{name} {shortened(cell)}" for name, cell in cells if cell]

    def cell(self, role: str) -> Measured | None:
        """A number with its unit. Raises RowError."""
        at = self._reading.at(role)
        if at is None:
            return None
        text, unit, decimal = self._row.cells[at], self._reading.columns[at].unit, self._reading.decimal
        return self.blame(role, lambda: measured(text, unit, ROLES[role].dimensions, decimal))

    def plain(self, role: str, key: Key | None = None) -> float | None:
        """A number in SI, inside the range of the key."""
        cell = self.cell(role)
        if cell is None:
            return None
        if key is not None:
            self.check(role, cell.si, key)
        if role in _POSITIVE and cell.si <= 0:
            self.fault(role, f"is {cell.number:g}; it must be above 0")
        return cell.si

    def check(self, role: str, si: float, key: Key) -> None:
        """Refuse a number outside the range that a folder takes."""
        scale = float(UNITS[key.unit].scale)
        if not key.low <= si / scale <= key.high:
            unit = UNITS[key.unit].shown
            limits = f"{key.low:g} and {key.high:g} {unit}"
            self.fault(role, f"gives {si / scale:.4g} {unit} for {key.what.rstrip(',')}; it must lie between {limits}")

    def blame(self, role: str, work: Callable[[], T]) -> T:
        """What the work gives; what it finds wrong is wrong with the cell of this role."""
        try:
            return work()
        except CellError as error:
            self.fault(role, str(error))

    def fault(self, role: str, what: str) -> NoReturn:
        """Raise the sentence that names line and column."""
        at = self._reading.at(role)
        header = "" if at is None else self._table.columns[at].written or self._table.columns[at].name
        place = f", “{shortened(header)}”" if header else ""
        raise RowError(f"Line {self.number}{place}: {what}.")
