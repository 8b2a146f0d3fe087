"""The time column as seconds, and the clock at its zero.

Elapsed seconds stay as the file has them; clock times and dates count from the first row.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.errors import LogError
from server.readers.cells import kind_of
from server.readers.clock import SECONDS_PER_DAY, clock_seconds, date_days, datetime_parts, day_to_date
from server.readers.names import ColumnName
from server.readers.table import Table
from server.readers.time_column import TimeColumns
from server.testday.units import UnknownUnitError, unit_of
from server.testday.values import Finding

FloatArray = NDArray[np.float64]
_EPOCH_S = (9.4e8, 4.2e9)  # 1999 to 2103, seconds since 1970
_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()
_SPOKEN = {
    1.0: "seconds",
    1e-3: "milliseconds",
    1e-6: "microseconds",
    1e-9: "nanoseconds",
    60.0: "minutes",
    3600.0: "hours",
}
_SLOWEST_STEP_S = 5.0
_FASTEST_STEP_S = 0.0004
_DATES_AGREE = 0.95
_SURE_ROWS, _SURE_SPAN_S = 7200, 43_200.0


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


def read_time_axis(name: str, table: Table, columns: Sequence[ColumnName], chosen: TimeColumns) -> TimeAxis:
    """Turn the chosen columns into seconds.

    Raises LogError where no row has a readable time or the unit cannot be told.
    """
    title = columns[chosen.axis].name
    if chosen.kind == "datetime":
        axis = _from_datetime(table, chosen.axis)
    elif chosen.kind == "clock":
        axis = _from_clock(table, chosen.axis, chosen.date)
    else:
        axis = _from_number(name, table.numbers[chosen.axis], chosen.unit, title)
        _add_clock(axis, table, chosen)
    if not np.isfinite(axis.seconds).any():
        raise LogError(f"{name}: column '{title}' was taken for the time, but no line holds a readable one.")
    axis.spoken = f"{axis.spoken} in '{title}'"
    return axis


def _from_number(name: str, values: FloatArray, unit: str | None, title: str) -> TimeAxis:
    finite = values[np.isfinite(values)]
    if not len(finite):
        return TimeAxis(np.full(len(values), np.nan), "seconds")
    scale = _unit_scale(name, unit, title)
    findings: list[Finding] = []
    if scale is None:
        scale, sure = _inferred_scale(name, finite, title)
        if not sure:
            text = f"{name}: the time '{title}' has no unit and was taken to be in {_SPOKEN[scale]}; "
            findings.append(
                Finding(
                    "time-unit-inferred", "check", text + f"write '{title} [ms]' or [s] in the file if not."
                )
            )
    first = float(finite[0])
    if _EPOCH_S[0] < first * scale < _EPOCH_S[1]:
        days, clock = divmod(first * scale, SECONDS_PER_DAY)
        date = day_to_date(days + _EPOCH_DAY)
        spoken = f"{_SPOKEN[scale]} since 1970"
        return TimeAxis((values - first) * scale, spoken, clock, date, True, findings)
    seconds = values if scale == 1.0 else values * scale
    return TimeAxis(seconds, f"time of {_SPOKEN.get(scale, 'another unit')}", findings=findings)


def _unit_scale(name: str, unit: str | None, title: str) -> float | None:
    if unit is None:
        return None
    try:
        known = unit_of(unit)
    except UnknownUnitError:
        raise LogError(
            f"{name}: the time '{title}' is in '{unit}', which is no unit of time; use s or ms."
        ) from None
    if known.dimension == "fraction":
        return None
    if known.dimension != "time":
        raise LogError(f"{name}: the time '{title}' is in '{unit}', which is no unit of time; use s or ms.")
    return known.scale


def _inferred_scale(name: str, values: FloatArray, title: str) -> tuple[float, bool]:
    """Scale of a time without a unit, from the size of its steps, and whether no other scale is possible."""
    for scale in (1.0, 1e-3, 1e-6, 1e-9):
        if _EPOCH_S[0] < values[0] * scale < _EPOCH_S[1]:
            return scale, True
    steps = np.diff(values)
    steps = steps[steps > 0]
    if not len(steps):
        return 1.0, len(values) == 1
    step = float(np.median(steps))
    fractions = bool((values[:5000] % 1.0 != 0).any())
    if fractions and _FASTEST_STEP_S <= step < _SLOWEST_STEP_S:
        return 1.0, True
    if step < 1.0:
        raise LogError(
            f"{name}: the time '{title}' has no unit and its steps of {step:.3g} fit none; "
            f"write '{title} [s]' or the like."
        )
    if step < _SLOWEST_STEP_S:
        if len(values) <= _SURE_ROWS:
            return 1.0, False
        if step * len(values) > _SURE_SPAN_S:
            return 1e-3, False
        raise LogError(
            f"{name}: the time '{title}' has no unit and may be seconds or milliseconds; "
            f"write '{title} [ms]' or [s]."
        )
    return (1e-3 if step < 5e3 else 1e-6 if step < 5e6 else 1e-9), False


def _from_datetime(table: Table, column: int) -> TimeAxis:
    words = table.words(column)
    days, seconds, certain, utc = datetime_parts(words)
    day = table.mapped(column, dict(zip(words, days.tolist(), strict=True)), keep_numbers=False)
    clock = table.mapped(column, dict(zip(words, seconds.tolist(), strict=True)), keep_numbers=False)
    axis = _counted(day, clock, "dates with clock times")
    _add_date(axis, day, certain)
    axis.clock_is_utc = utc
    return axis


def _from_clock(table: Table, column: int, date: int | None) -> TimeAxis:
    clock = _clock_column(table, column)
    first = next(iter(table.words(column)), "")
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
                Finding("past-midnight", "note", "The clock passes midnight; times count on.")
            )
        return axis
    return _with_date(table, date, clock, passed)


def _with_date(table: Table, date: int, clock: FloatArray, passed: FloatArray) -> TimeAxis:
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
        text = (
            f"{count:,} dates cannot be read (such as '{bad[0][:20]}'); the clock times beside them count on."
        )
        axis.findings.append(Finding("unreadable-cells", "note", text))
    _add_date(axis, usual + passed if agree > _DATES_AGREE else day, certain)
    return axis


def _clock_column(table: Table, column: int) -> FloatArray:
    out = np.full(table.n_rows, np.nan)
    for part in table.texts.get(column, ()):
        seconds = np.append(clock_seconds(part.words), np.nan)
        out[part.first_row : part.first_row + len(part.codes)] = seconds[part.codes]
    return out


def _counted(day: FloatArray, clock: FloatArray, spoken: str) -> TimeAxis:
    """Count seconds from the first readable row."""
    good = np.flatnonzero(np.isfinite(day + clock))
    if not len(good):
        return TimeAxis(np.full(len(clock), np.nan), spoken)
    start = good[0]
    seconds = (day - day[start]) * SECONDS_PER_DAY + (clock - clock[start])
    return TimeAxis(seconds, spoken, float(clock[start]))


def _add_date(axis: TimeAxis, day: FloatArray, certain: bool) -> None:
    good = np.flatnonzero(np.isfinite(axis.seconds))
    if certain and len(good):
        axis.start_date = day_to_date(float(day[good[0]]))
    elif not certain:
        text = "Day and month of the log's date cannot be told apart; the date is not used."
        axis.findings.append(Finding("date-ambiguous", "note", text))


def _midnights(clock: FloatArray) -> FloatArray:
    """Number of midnights passed at every row: falls of more than half a day."""
    good = np.isfinite(clock)
    falls = np.zeros(len(clock))
    falls[np.flatnonzero(good)[1:]] = np.diff(clock[good]) < -0.5 * SECONDS_PER_DAY
    return np.cumsum(falls)


def _add_clock(axis: TimeAxis, table: Table, chosen: TimeColumns) -> None:
    """Take the clock at zero from the first row of a clock column beside an elapsed time."""
    if chosen.clock is None or axis.start_clock_s is not None:
        return
    clock = _from_clock_column(table, chosen)
    good = np.flatnonzero(np.isfinite(axis.seconds + clock.seconds))
    if clock.start_clock_s is None or not len(good):
        return
    at_zero = clock.start_clock_s + float(clock.seconds[good[0]] - axis.seconds[good[0]])
    axis.start_clock_s = at_zero % SECONDS_PER_DAY
    days = int(at_zero // SECONDS_PER_DAY)
    axis.start_date = clock.start_date + dt.timedelta(days=days) if clock.start_date else None
    axis.clock_is_utc = clock.clock_is_utc


def _from_clock_column(table: Table, chosen: TimeColumns) -> TimeAxis:
    assert chosen.clock is not None
    first = next(iter(table.words(chosen.clock)), "")
    if kind_of(first) == "datetime":
        return _from_datetime(table, chosen.clock)
    return _from_clock(table, chosen.clock, chosen.date)
