"""The time column as seconds, and the clock at its zero.

Elapsed seconds stay as the file has them; clock times and dates count from the first row.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from server.errors import LogError
from server.readers.cells import kind_of
from server.readers.clock import SECONDS_PER_DAY, day_to_date
from server.readers.clock_axis import TimeAxis, from_clock, from_datetime
from server.readers.names import ColumnName
from server.readers.table import Table
from server.readers.time_column import TimeColumns
from server.testday.units import UnknownUnitError, unit_of
from server.testday.values import Finding, FloatArray

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
_SURE_ROWS, _SURE_SPAN_S = 7200, 43_200.0


def read_time_axis(name: str, table: Table, columns: Sequence[ColumnName], chosen: TimeColumns) -> TimeAxis:
    """Turn the chosen columns into seconds.

    Raises LogError where no row has a readable time or the unit cannot be told.
    """
    title = columns[chosen.axis].name
    if chosen.kind == "datetime":
        axis = from_datetime(name, table, chosen.axis)
    elif chosen.kind == "clock":
        axis = from_clock(name, table, chosen.axis, chosen.date)
    else:
        axis = _from_number(name, table.numbers[chosen.axis], chosen.unit, title)
        _add_clock(name, axis, table, chosen)
    if not np.isfinite(axis.seconds).any():
        raise LogError(f"{name}: column '{title}' was taken for the time, but no line holds a readable one.")
    axis.spoken = f"{axis.spoken} from '{title}'"
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
    if _is_epoch(finite * scale):
        values = np.where((values * scale > _EPOCH_S[0]) & (values * scale < _EPOCH_S[1]), values, np.nan)
        first = float(values[np.isfinite(values)][0])
        days, clock = divmod(first * scale, SECONDS_PER_DAY)
        date = day_to_date(days + _EPOCH_DAY)
        spoken = f"{_SPOKEN[scale]} since 1970"
        return TimeAxis((values - first) * scale, spoken, clock, date, True, findings)
    seconds = values if scale == 1.0 else values * scale
    return TimeAxis(seconds, f"time in {_SPOKEN.get(scale, 'another unit')}", findings=findings)


def _is_epoch(seconds: FloatArray) -> bool:
    """Whether nearly all are seconds since 1970 of these decades; a clock may be set late."""
    return float(np.mean((seconds > _EPOCH_S[0]) & (seconds < _EPOCH_S[1]))) > 0.9


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
        if _is_epoch(values * scale):
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


def _add_clock(name: str, axis: TimeAxis, table: Table, chosen: TimeColumns) -> None:
    """Take the clock at zero from the first row of a clock column beside an elapsed time."""
    if chosen.clock is None or axis.start_clock_s is not None:
        return
    clock = _from_clock_column(name, table, chosen)
    good = np.flatnonzero(np.isfinite(axis.seconds + clock.seconds))
    if clock.start_clock_s is None or not len(good):
        return
    at_zero = clock.start_clock_s + float(clock.seconds[good[0]] - axis.seconds[good[0]])
    axis.start_clock_s = at_zero % SECONDS_PER_DAY
    days = int(at_zero // SECONDS_PER_DAY)
    axis.start_date = clock.start_date + dt.timedelta(days=days) if clock.start_date else None
    axis.clock_is_utc = clock.clock_is_utc


def _from_clock_column(name: str, table: Table, chosen: TimeColumns) -> TimeAxis:
    assert chosen.clock is not None
    first = next(iter(table.words(chosen.clock)), "")
    if kind_of(first) == "datetime":
        return from_datetime(name, table, chosen.clock)
    return from_clock(name, table, chosen.clock, chosen.date)
