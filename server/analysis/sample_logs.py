"""Simulated signals written as CSV in the ways that loggers and people write it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.testday.values import FloatArray, Signal

TICKS_PER_S = 1000


@dataclass(frozen=True, slots=True)
class Column:
    """A column: header, unit as written, the role it is made from, written = SI · factor + offset."""

    header: str
    unit: str
    role: str
    factor: float = 1.0
    offset: float = 0.0
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class LogStyle:
    """How a file is written. units: a row below the names, in brackets behind them, or nowhere.

    time: seconds on the file's own clock, clock time, or ISO 8601 with the date.
    """

    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    newline: str = "\n"
    preamble: tuple[str, ...] = ()
    units: Literal["row", "brackets", "none"] = "brackets"
    time: Literal["seconds", "clock", "iso"] = "seconds"
    time_header: str = "time"
    time_decimals: int = 2


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One run's signals in a file. shift_s: file clock at the run's start; clock_s: time of day then."""

    signals: Mapping[str, Signal]
    clock_s: float
    shift_s: float = 0.0


def log_bytes(
    pieces: Sequence[Piece], columns: Sequence[Column], style: LogStyle, date: dt.date | None = None
) -> bytes:
    """The file. A row for every instant at which a column has a sample, blanks where the others have none."""
    lines = [*style.preamble, *_header(columns, style)]
    for piece in pieces:
        lines.extend(_rows(piece, columns, style, date))
    return (style.newline.join(lines) + style.newline).encode(style.encoding)


def _header(columns: Sequence[Column], style: LogStyle) -> list[str]:
    time_unit = "s" if style.time == "seconds" else ""
    names = [(style.time_header, time_unit), *((column.header, column.unit) for column in columns)]
    if style.units == "brackets":
        return [style.separator.join(f"{name} [{unit}]" if unit else name for name, unit in names)]
    rows = [style.separator.join(name for name, _ in names)]
    return [*rows, style.separator.join(unit for _, unit in names)] if style.units == "row" else rows


def _rows(piece: Piece, columns: Sequence[Column], style: LogStyle, date: dt.date | None) -> list[str]:
    ticks = [_ticks(piece.signals[column.role].time_s) for column in columns]
    grid = np.unique(np.concatenate(ticks))
    cells = [_times(grid, piece, style, date)]
    for column, own in zip(columns, ticks, strict=True):
        blank = [""] * len(grid)
        written = piece.signals[column.role].values * column.factor + column.offset
        texts = _numbers(written, column.decimals, style)
        for row, text in zip(np.searchsorted(grid, own), texts, strict=True):
            blank[row] = text
        cells.append(blank)
    return [style.separator.join(row) for row in zip(*cells, strict=True)]


def _ticks(time_s: FloatArray) -> np.ndarray:
    return np.round(time_s * TICKS_PER_S).astype(np.int64)


def _numbers(values: FloatArray, decimals: int, style: LogStyle) -> list[str]:
    return [f"{value:.{decimals}f}".replace(".", style.decimal) for value in values]


def _times(grid: np.ndarray, piece: Piece, style: LogStyle, date: dt.date | None) -> list[str]:
    if style.time == "seconds":
        return _numbers(grid / TICKS_PER_S + piece.shift_s, style.time_decimals, style)
    clock = [clock_text(piece.clock_s + tick / TICKS_PER_S, style.time_decimals) for tick in grid]
    if style.time == "clock" or date is None:
        return clock
    return [f"{date.isoformat()}T{text}" for text in clock]


def clock_text(clock_s: float, decimals: int = 0) -> str:
    """Seconds after midnight as HH:MM:SS, with decimals where asked for."""
    units = 10**decimals
    whole, part = divmod(round(clock_s * units), units)
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    fraction = f".{part:0{decimals}d}" if decimals else ""
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{fraction}"
