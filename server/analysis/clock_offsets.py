"""Recordings of one run with clocks of their own: offsets from the speed that they share.

The satellite box's clock is moved so that its speed fits the wheel speed best, over the whole run, less a
typical delay; what is left (the receiver's own delay, the same all day) is found with the speed scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.analysis.pass_data import wheel_roles
from server.testday.values import Car, Finding, Recording, Run, Signal

TYPICAL_DELAY_S = 0.15
FARTHEST_S = 30.0
WORTH_SAYING_S = 0.5


def align_recordings(run: Run, car: Car) -> tuple[Run, tuple[Finding, ...]]:
    """The run with its satellite recording on the car logger's clock.

    Nothing is moved where both speeds come from one file, or where a person gave a clock offset.
    """
    wheel = next((r for r in run.recordings if wheel_roles(car, r.signals)), None)
    box = next((r for r in run.recordings if "gps_speed" in r.signals), None)
    if wheel is None or box is None or wheel is box:
        return run, ()
    if any(log.clock_offset_s for log in run.logs if log.file == box.file):
        return run, ()
    speed = wheel.signals[wheel_roles(car, wheel.signals)[0]]
    offset = speed_offset(speed, box.signals["gps_speed"])
    if offset is None:
        text = f"Run {run.number}: the clocks of {wheel.file} and {box.file} could not be matched by their speeds."
        return run, (Finding("clocks-apart", "check", text, run.number),)
    shift = TYPICAL_DELAY_S - offset
    moved = replace(box, signals={role: _shifted(s, shift) for role, s in box.signals.items()})
    recordings = tuple(moved if r is box else r for r in run.recordings)
    return replace(run, recordings=recordings), _said(run, box, shift)


def speed_offset(wheel: Signal, satellite: Signal) -> float | None:
    """How much later the satellite shows the same speed [s]; None where the speeds never agree."""
    time = satellite.time_s
    if len(time) < 20 or len(wheel.time_s) < 20:
        return None
    best = _best(wheel, satellite, np.arange(-FARTHEST_S, FARTHEST_S + 0.25, 0.5))
    for step in (0.1, 0.02, 0.004):
        best = _best(wheel, satellite, best[1] + np.arange(-10, 11) * step * 0.6)
    cost, offset = best
    return offset if cost < 0.08 * float(np.quantile(satellite.values, 0.9)) + 0.2 else None


def _best(wheel: Signal, satellite: Signal, offsets: Sequence[float] | np.ndarray) -> tuple[float, float]:
    """Smallest mean distance (each at most 3 m/s) between the speeds, and its offset."""
    return min((_distance(wheel, satellite, float(offset)), float(offset)) for offset in offsets)


def _distance(wheel: Signal, satellite: Signal, offset: float) -> float:
    when = satellite.time_s - offset
    inside = (when > wheel.time_s[0]) & (when < wheel.time_s[-1])
    if np.count_nonzero(inside) < 0.5 * min(len(when), 20) or np.count_nonzero(inside) < 0.3 * len(when):
        return float("inf")
    gap = satellite.values[inside] - np.interp(when[inside], wheel.time_s, wheel.values)
    moving = satellite.values[inside] > 2.0
    return float(np.mean(np.minimum(np.abs(gap[moving]), 3.0))) if np.any(moving) else float("inf")


def _shifted(signal: Signal, shift_s: float) -> Signal:
    return replace(signal, time_s=signal.time_s + shift_s)


def _said(run: Run, box: Recording, shift: float) -> tuple[Finding, ...]:
    if abs(shift) < WORTH_SAYING_S:
        return ()
    text = f"Run {run.number}: the clock of {box.file} was moved by {shift:+.2f} s to match the speed of the car's log."
    return (Finding("clock-moved", "note", text, run.number),)
