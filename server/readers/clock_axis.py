"""Clock times and dates as seconds from the first row."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from server.readers.clock import SECONDS_PER_DAY, clock_seconds, date_days, datetime_parts, day_to_date
from server.readers.table import Table
from server.testday.values import Finding, FloatArray

_FIRST_DAY = dt.date(1999, 12, 31).toordinal()  # earlier dates are those of a clock not yet set
_DATES_AGREE = 0.95


@dataclass(slots=True)
class TimeAxis:
    """Seconds of every row, NaN where unreadable, shape (n_rows,); clock [s after midnight] and date at zero.

    clock_is_utc: the clock is UTC, not the venue's. spoken: how the description names the time.
    """

    seconds: FloatArray
    spoken: str
    start_clock_s: float | None = None
    start_date: dt.date | None = None
    clock_is_utc: bool = False
    findings: list[Finding] = field(default_factory=list)


def from_datetime(name: str, table: Table, column: int) -> TimeAxis:
    """Read a column of dates with clock times."""
    words, index = table.indexed(column)
    days, seconds, certain, utc = datetime_parts(words)
    day, clock = np.append(days, np.nan)[index], np.append(seconds, np.nan)[index]
    day = np.where(day > _FIRST_DAY, day, np.nan)
    axis = _counted(day, clock, "dates with clock times")
    _add_date(name, axis, day, certain)
    axis.clock_is_utc = utc
    return axis


def from_clock(name: str, table: Table, column: int, date: int | None) -> TimeAxis:
    """Read a column of clock times, with the column of dates beside it if there is one."""
    words, index = table.indexed(column)
    clock = np.append(clock_seconds(words), np.nan)[index]
    first = words[0] if words else ""
    finite = clock[np.isfinite(clock)]
    if first.count(":") == 1 or (date is None and len(finite) and finite[0] < 1.0):
        return TimeAxis(
            clock, "minutes and seconds" if first.count(":") == 1 else "hours, minutes and seconds"
        )
    passed = _midnights(clock)
    if date is None:
        axis = _counted(passed, clock, "clock times")
        if passed[-1] > 0:
            axis.findings.append(
                Finding("past-midnight", "note", f"{name}: the clock passes midnight; times count on.")
            )
        return axis
    return _with_date(name, table, date, clock, passed)


def _with_date(name: str, table: Table, date: int, clock: FloatArray, passed: FloatArray) -> TimeAxis:
    """Days by the midnights passed; by the dates where most of them say otherwise (a log of several days)."""
    words = table.counts(date)
    numbers, certain = date_days(list(words), list(words.values()))
    day = table.mapped(date, dict(zip(words, numbers.tolist(), strict=True)), keep_numbers=False)
    good = np.isfinite(day + clock)
    if not good.any():
        return _counted(passed, clock, "clock times")
    first_days, counts = np.unique((day - passed)[good], return_counts=True)
    usual = float(first_days[np.argmax(counts)])
    agree = float(counts.max()) / max(int(np.isfinite(clock).sum()), 1)
    axis = _counted(usual + passed if agree > _DATES_AGREE else day, clock, "clock times with a date")
    bad = [word for word, number in zip(words, numbers, strict=True) if not np.isfinite(number)]
    if bad:
        count = sum(words[word] for word in bad)
        example = f"{count:,} dates cannot be read (such as '{bad[0][:20]}')"
        text = f"{name}: {example}; the clock times beside them count on."
        axis.findings.append(Finding("unreadable-cells", "note", text))
    _add_date(name, axis, usual + passed if agree > _DATES_AGREE else day, certain)
    return axis


def _counted(day: FloatArray, clock: FloatArray, spoken: str) -> TimeAxis:
    """Count seconds from the first readable row."""
    good = np.flatnonzero(np.isfinite(day + clock))
    if not len(good):
        return TimeAxis(np.full(len(clock), np.nan), spoken)
    start = good[0]
    seconds = (day - day[start]) * SECONDS_PER_DAY + (clock - clock[start])
    return TimeAxis(seconds, spoken, float(clock[start]))


def _add_date(name: str, axis: TimeAxis, day: FloatArray, certain: bool) -> None:
    good = np.flatnonzero(np.isfinite(axis.seconds))
    if certain and len(good):
        axis.start_date = day_to_date(float(day[good[0]]))
    elif not certain:
        text = f"{name}: day and month of the log's date cannot be told apart; the date is not used."
        axis.findings.append(Finding("date-ambiguous", "note", text))


def _midnights(clock: FloatArray) -> FloatArray:
    """Number of midnights passed at every row: falls of more than half a day."""
    good = np.isfinite(clock)
    falls = np.zeros(len(clock))
    falls[np.flatnonzero(good)[1:]] = np.diff(clock[good]) < -0.5 * SECONDS_PER_DAY
    return np.cumsum(falls)
