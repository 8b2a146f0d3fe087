"""Suspension sensors that do not follow the car: stuck, noise only, gone silent within a run, or at their stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.analysis.held import clipped
from server.analysis.intervals import inside, intervals
from server.analysis.result import Pass
from server.analysis.suspension_response import Response
from server.analysis.suspension_sensors import CarLoads, Sensor
from server.analysis.suspension_trace import STEP_S, DriveTrace
from server.testday.values import FloatArray

WINDOW_S = 6.0
LEAST_WHEEL_M = 0.0015
FOLLOWS = 0.25  # of the partner's movement, and of the reading's variance
MISSING_SHARE = 0.3
CLIPPED_SHARE = 0.01
STILL_SHARE = 0.25
FEWEST_WINDOWS = 4
NEVER_SHARE = 0.8
Manner = Literal["dead", "clipped"]


@dataclass(frozen=True, slots=True)
class Silence:
    """A sensor that must not be used in a run: from when on [s], None for the whole of it; how far it moved
    where `reference` moved (both in the sensor's unit)."""

    run: int
    role: str
    manner: Manner
    from_s: float | None
    moved: float
    reference: float


def silent_by_partner(trace: DriveTrace, sensor: Sensor, loads: CarLoads) -> Silence | None:
    """Judge a sensor by the other side's over windows of six seconds in which that one moves."""
    partner = trace.readings.get(sensor.partner or "")
    if partner is None:
        return None
    mine = trace.readings[sensor.role]
    held = loads.friction(sensor) or 0.0
    least = max(loads.least_move(sensor, LEAST_WHEEL_M), 4.0 * held)
    starts, told = [], []
    for window in _windows(trace):
        follows = _follows(mine[window], partner[window], least)
        if follows is not None:
            starts.append(float(trace.time_s[window.start]))
            told.append(follows)
    first = _begins(told)
    if first is None:
        return None
    late = (trace.leg >= 0) & (trace.time_s >= starts[first])
    began = starts[first] if first else None
    return Silence(trace.run.number, sensor.role, "dead", began, _swing(mine[late]), _swing(partner[late]))


def silent_by_force(trace: DriveTrace, sensor: Sensor, response: Response | None, loads: CarLoads) -> Silence | None:
    """Judge a sensor without a partner that moves by what the car's acceleration alone must make of it."""
    mine = trace.readings[sensor.role]
    driven = mine[trace.leg >= 0]
    if len(driven) and not np.isfinite(driven).any():
        return Silence(trace.run.number, sensor.role, "dead", None, 0.0, 0.0)
    if response is None:
        return None
    expected = loads.expected(sensor)
    should = abs(expected.per_accel) * response.accel_swing if expected else 0.0
    least = should if expected else loads.least_move(sensor, LEAST_WHEEL_M)
    if expected and should < 2.0 * (loads.friction(sensor) or 0.0):
        return None
    if response.explained > 0.5 or response.swing > STILL_SHARE * least:
        return None
    return Silence(trace.run.number, sensor.role, "dead", None, response.swing, should)


def at_its_stop(trace: DriveTrace, sensor: Sensor, passes: Sequence[Pass]) -> Silence | None:
    """Whether a sensor sits on the end of its range during passes."""
    signal = trace.signals[sensor.role]
    good = np.isfinite(signal.values)
    time, values = signal.time_s[good], signal.values[good]
    mine = [(p.start_s, p.end_s) for p in passes if p.run == trace.run.number and p.used and p.kind != "zero"]
    during = inside(time, intervals(mine))
    if np.count_nonzero(during) < 20 or np.ptp(values) == 0.0:
        return None
    ends = clipped(values) & during
    if np.count_nonzero(ends) < CLIPPED_SHARE * np.count_nonzero(during):
        return None
    at = float(np.median(values[ends]))
    return Silence(trace.run.number, sensor.role, "clipped", float(time[np.argmax(ends)]), at, 0.0)


def _windows(trace: DriveTrace) -> list[slice]:
    """Stretches of WINDOW_S, half overlapping, in the drives."""
    length = round(WINDOW_S / STEP_S)
    found = []
    for leg in trace.legs:
        index = np.flatnonzero(trace.leg == leg)
        last = int(index[-1]) + 1
        begins = range(int(index[0]), max(int(index[0]) + 1, last - length // 2), length // 2)
        found += [slice(k, min(k + length, last)) for k in begins]
    return found


def _follows(mine: FloatArray, partner: FloatArray, least: float) -> tuple[bool, bool] | None:
    """Whether it follows the partner, and whether it lies still; None where the partner hardly moves."""
    known = np.isfinite(partner)
    if np.count_nonzero(known) < 20 or _swing(partner) < least:
        return None
    both = known & np.isfinite(mine)
    if np.count_nonzero(both) < (1.0 - MISSING_SHARE) * np.count_nonzero(known):
        return False, True
    x, y = mine[both] - np.mean(mine[both]), partner[both] - np.mean(partner[both])
    slope = float(x @ y) / float(y @ y)
    power = float(x @ x)
    explained = float(x @ y) ** 2 / (power * float(y @ y)) if power > 0.0 else 0.0
    follows = abs(slope) >= FOLLOWS or explained >= FOLLOWS
    return follows, not follows and _swing(mine) < FOLLOWS * _swing(partner)


def _begins(told: Sequence[tuple[bool, bool]]) -> int | None:
    """First of two still windows in a row; 0 where the sensor hardly ever follows, however it moves.

    A car that rolls as much as it heaves moves its two sides apart for a while: that is no fault.
    """
    table = np.array(told, dtype=bool).reshape(-1, 2)
    pairs = np.flatnonzero(table[1:, 1] & table[:-1, 1])
    if len(pairs):
        return int(pairs[0])
    return 0 if len(table) >= FEWEST_WINDOWS and np.mean(~table[:, 0]) >= NEVER_SHARE else None


def _swing(values: FloatArray) -> float:
    """From the 5th to the 95th percentile, between neighbours in proportion (asked some hundred times a run)."""
    good = np.sort(values[np.isfinite(values)])
    if not len(good):
        return 0.0
    last = len(good) - 1
    at = np.array([0.05, 0.95]) * last
    low = at.astype(int)
    ends = good[low] + (at - low) * (good[np.minimum(low + 1, last)] - good[low])
    return float(ends[1] - ends[0])
