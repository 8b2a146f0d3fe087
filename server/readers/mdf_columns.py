"""The channels of an MDF group as the numbers and words of a table, by the same rules as every table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.readers.columns import Column, read_columns
from server.readers.names import ColumnName, split_name
from server.readers.table import Table, TextPart, read_words
from server.readers.word_kind import usual_kind
from server.testday.units import is_unit
from server.testday.values import FloatArray

_TO_TEXT = (7, 8)  # conversions of numbers to text, by value and by range (ASAM MDF 4, cc_type)
_ALGEBRAIC = 3
_FORMULA = re.compile(
    r"(?:X1?|\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+|[-+*/^(), ]"
    r"|a?(?:sin|cos|tan)h?|exp|log(?:10)?|sqrt|abs)+"
)
_MOST_POWERS = 4


@dataclass(slots=True)
class GroupTable:
    """A group's channels as a table; what stands behind words; names of channels that are no numbers or words."""

    names: list[ColumnName] = field(default_factory=list)
    table: Table = field(default_factory=lambda: Table(np.empty((0, 0))))
    behind_words: dict[int, FloatArray] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)

    def columns(self, titles: Sequence[str], timed: NDArray[np.bool_]) -> list[Column]:
        """Read all columns under new names; words that are no states give way to the numbers behind them."""
        names = [replace(column, name=title) for column, title in zip(self.names, titles, strict=True)]
        found = {column.name: column for column in read_columns(self.table, names, frozenset(), timed)}
        for index, values in self.behind_words.items():
            title = titles[index]
            if title in found and (found[title].values is None or found[title].is_void):
                found[title] = Column(title, names[index].unit, values)
        return list(found.values())


def read_group(signals: Sequence[Any]) -> GroupTable:
    """Make a table of a group's signals as asammdf gives them raw, with conversion and invalidation bits."""
    usable = [(signal, cells) for signal in signals if (cells := _cells(signal)) is not None]
    used = {id(signal) for signal, _ in usable}
    group = GroupTable(left_out=[signal.name for signal in signals if id(signal) not in used])
    rows = max((len(signal.samples) for signal, _ in usable), default=0)
    group.table = Table(np.full((len(usable), rows), np.nan))
    for index, (signal, cells) in enumerate(usable):
        group.names.append(_name(signal))
        invalid = signal.invalidation_bits
        bad = np.zeros(len(signal.samples), dtype=bool) if invalid is None else np.asarray(invalid, dtype=bool)
        if isinstance(cells, np.ndarray):
            group.table.numbers[index, : len(cells)] = np.where(bad, np.nan, cells)
            continue
        codes, words, behind = cells
        codes = np.where(bad, -1, codes)
        numbers, part = read_words(codes, words, usual_kind(words), 0)
        group.table.numbers[index, : len(numbers)] = numbers
        if part is not None:
            group.table.texts[index] = [TextPart(0, codes, words)]
        if behind is not None:
            group.behind_words[index] = np.where(bad, np.nan, behind)
    return group


Words = tuple[NDArray[np.intp], list[str], FloatArray | None]


def _cells(signal: Any) -> FloatArray | Words | None:
    """Numbers; or words with the index of each row's word and the numbers behind; None for what is neither."""
    samples, conversion = signal.samples, signal.conversion
    if samples.ndim != 1 or samples.dtype.names:
        return None
    kind = conversion.conversion_type if conversion is not None else None
    if samples.dtype.kind in "SUO":
        converted = conversion.convert(samples) if conversion is not None else samples
        return _numbers(converted) if converted.dtype.kind in "fiub" else _coded(converted, signal.encoding, None)
    if samples.dtype.kind not in "fiub":
        return None
    numbers = _numbers(samples)
    if kind in _TO_TEXT:
        unique, codes = np.unique(samples, return_inverse=True)
        words = [_word(cell, "utf-8") for cell in conversion.convert(unique)]
        return np.asarray(codes.ravel(), dtype=np.intp), words, numbers
    if kind == _ALGEBRAIC:
        formula = conversion.formula
        if not _FORMULA.fullmatch(formula) or formula.count("^") + formula.count("**") > _MOST_POWERS:
            return None  # formulas are evaluated: nothing but arithmetic comes in
        conversion.formula = formula.replace("^", "**")
    with np.errstate(all="ignore"):  # raw numbers of any size come in
        converted = numbers if conversion is None else np.asarray(conversion.convert(numbers))
    return _numbers(converted) if converted.dtype.kind in "fiub" else _coded(converted, "utf-8", numbers)


def _coded(samples: NDArray[Any], encoding: str | None, behind: FloatArray | None) -> Words:
    text = samples.astype(str) if samples.dtype.kind == "O" else samples
    unique, codes = np.unique(text, return_inverse=True)
    return np.asarray(codes.ravel(), dtype=np.intp), [_word(cell, encoding) for cell in unique], behind


def _word(cell: object, encoding: str | None) -> str:
    if isinstance(cell, bytes):
        codec = encoding if encoding in ("utf-8", "latin-1", "utf-16-le", "utf-16-be") else "utf-8"
        return cell.decode(codec, "replace").strip("\0")
    return str(cell).strip("\0")


def _numbers(samples: NDArray[Any]) -> FloatArray:
    with np.errstate(all="ignore"):
        return np.asarray(samples, dtype=np.float64)


def _name(signal: Any) -> ColumnName:
    """Name and unit; a unit in the name counts where no other is given and it is no index of an array."""
    written = " ".join(str(signal.name).split())
    unit = str(signal.unit or "").strip("[]{}<>\0 ") or None
    if unit is None:
        name, found = split_name(written)
        if found and name and is_unit(found) and not found[0].isdigit():
            return ColumnName(name, found, written)
    return ColumnName(written or "channel", unit, written)
