"""One cell of a table of predictions: a number that may carry its unit, "12.3 N"; and the table's decimal mark."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from server.readers.cells import bare, is_blank, number_of
from server.testday.units import UnitMismatchError, UnknownUnitError, is_unit, to_si, unit_of

_PARTS = re.compile(r"([+\-−]?(?:\d[\d.,'’]*|[.,]\d+)(?:[eE][+\-−]?\d{1,3})?)\s*(.*)", re.DOTALL)
_COMMA = re.compile(r"[+\-−]?\d*,\d+(?:[eE][+\-−]?\d{1,3})?")
_POINT = re.compile(r"[+\-−]?\d*\.\d+(?:[eE][+\-−]?\d{1,3})?")
_LONGEST = 40


class CellError(ValueError):
    """What is wrong with a cell, as the end of a sentence that names its line and column."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A cell's number, its unit as it was written there or in the header, and its value in SI."""

    number: float
    unit: str
    dimension: str
    si: float


def has_number(cell: str) -> bool:
    """Whether a cell is a number, with or without a unit behind it."""
    parts = _PARTS.fullmatch(bare(cell))
    return parts is not None and (not parts[2] or is_unit(parts[2]))


def decimal_of(cells: Iterable[str], separator: str) -> str:
    """The decimal mark as the cells look: the comma where more of them are numbers with one than with a point."""
    if separator == ",":
        return "."
    numbers = [parts[1] for cell in cells if (parts := _PARTS.fullmatch(bare(cell)))]
    commas, points = (sum(bool(one.fullmatch(text)) for text in numbers) for one in (_COMMA, _POINT))
    return "," if commas > points else "."


def measured(cell: str, unit: str, dimensions: tuple[str, ...], decimal: str) -> Measured | None:
    """A cell's number in SI, None for a blank one.

    unit: that of the column; one in the cell goes before it. dimensions: those that may stand there.
    Raises CellError.
    """
    text = bare(cell)
    if not text or is_blank(text):
        return None
    parts = _PARTS.fullmatch(text)
    number = number_of(parts[1].replace("−", "-"), decimal) if parts else math.nan
    if parts is None or not math.isfinite(number):
        raise CellError(f"holds “{shortened(text)}”, which is no number")
    spelled = parts[2] or unit
    if not spelled and "count" not in dimensions:
        raise CellError("has no unit; say it at the column")
    try:
        dimension = unit_of(spelled).dimension if spelled else "count"
        if dimension not in dimensions:
            kinds = " or ".join("a plain number" if one == "fraction" else f"a unit of {one}" for one in dimensions)
            raise CellError(f"has the unit “{shortened(spelled)}”, which is not {kinds}")
        si = float(f"{float(to_si(np.array([number]), spelled, dimension)[0]):.15g}") if spelled else number
    except (UnknownUnitError, UnitMismatchError):
        raise CellError(f"has the unit “{shortened(spelled)}”, which is not known here") from None
    return Measured(number, "" if dimension == "fraction" and spelled != "%" else spelled, dimension, si)


def shortened(text: str) -> str:
    """A text cut to what a sentence can hold."""
    plain = " ".join(text.split())
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 1] + "…"
