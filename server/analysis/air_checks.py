"""Whether the air speed logged on the car can be believed, run by run, and whether its scale is known well enough.

While the car moves, a sound probe follows its speed: y ≈ a + s v − s τ dv/dt, with the slope s near 1 and a delay τ of
tenths of a second, which starts and brakes tell well against gusts. A blocked tube follows nothing; a leaking or half
blocked one comes seconds late.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from server.analysis.air_scale import day_scale
from server.analysis.air_speed import MOST_SCALE_U, stated_scale
from server.analysis.pass_data import merged_signals
from server.analysis.result import Pass
from server.analysis.smoothing import slopes
from server.analysis.speed_pick import pick_speed
from server.analysis.suspension_words import runs_called
from server.testday.values import Car, Day, Finding, Quantity, Run, Signal

STEP_S, KERNEL_S = 0.1, 0.6
MOVING_MPS = 6.0
LEAST_SAMPLES, LEAST_RANGE_MPS = 60, 4.0
SLOPES = (0.6, 1.4)
DELAYS_S = (-0.4, 0.7)
MOST_OFF = 3.0  # of what the stated scale and the day's allow


def check_air_speed(day: Day, passes: Sequence[Pass]) -> tuple[Day, list[Finding]]:
    """The day with no air speed but what its fit may use, and what was noticed."""
    told = {run.number: found for run in day.runs if (found := follows_speed(run, day.car)) is not None}
    wrong = {number for number, (slope, delay) in told.items() if not _sound(slope, delay)}
    numbers = [run.number for run in day.runs]
    findings = [_doubted(told, wrong, numbers)] if wrong else []
    day = _without(day, wrong)
    sound = [delay for number, (_, delay) in told.items() if number not in wrong]
    if not sound:
        return _without(day, set(numbers)), findings
    told_scale, stated = day_scale(day, passes, float(np.median(sound))), stated_scale(day.car)
    used = stated is not None and (told_scale is None or _agrees(told_scale, stated))
    findings.append(_scale_finding(told_scale, stated, used))
    return (day if used else _without(day, set(numbers))), findings


def follows_speed(run: Run, car: Car) -> tuple[float, float] | None:
    """Slope of a run's air speed on its ground speed and its delay [s]; None where the run tells neither."""
    air = merged_signals(run).get("airspeed")
    source = pick_speed(run, car) if air is not None and len(air.time_s) >= LEAST_SAMPLES else None
    if air is None or source is None or len(source.signal.time_s) < LEAST_SAMPLES:
        return None
    time = np.arange(air.time_s[0], air.time_s[-1], STEP_S)
    speed = np.interp(time, source.signal.time_s, source.signal.values)
    accel = slopes(speed, STEP_S, KERNEL_S)
    reading = np.interp(time, air.time_s, air.values)
    good = (speed > MOVING_MPS) & np.isfinite(reading) & np.isfinite(accel)
    if np.count_nonzero(good) < LEAST_SAMPLES or np.ptp(speed[good]) < LEAST_RANGE_MPS:
        return None
    design = np.column_stack([np.ones(np.count_nonzero(good)), speed[good], -accel[good]])
    (_, slope, by_accel), *_ = np.linalg.lstsq(design, reading[good], rcond=None)
    return float(slope), float(by_accel / slope) if abs(slope) > 0.1 else 0.0


def _sound(slope: float, delay: float) -> bool:
    return SLOPES[0] < slope < SLOPES[1] and DELAYS_S[0] < delay < DELAYS_S[1]


def _agrees(told: Quantity, stated: Quantity) -> bool:
    return abs(told.value - 1.0) < MOST_OFF * float(np.hypot(told.u, stated.u))


def _without(day: Day, numbers: set[int]) -> Day:
    """The day without the air speed of some runs; the same day where there is none."""

    def bare(run: Run) -> Run:
        recordings = (replace(r, signals=_others(r.signals)) for r in run.recordings)
        return replace(run, recordings=tuple(recordings))

    doubted = {r.number for r in day.runs if r.number in numbers and "airspeed" in merged_signals(r)}
    if not doubted:
        return day
    return replace(day, runs=tuple(bare(run) if run.number in doubted else run for run in day.runs))


def _others(signals: Mapping[str, Signal]) -> dict[str, Signal]:
    return {role: signal for role, signal in signals.items() if role != "airspeed"}


def _doubted(told: Mapping[int, tuple[float, float]], wrong: set[int], every: list[int]) -> Finding:
    number = min(wrong)
    slope, delay = told[number]
    what = f"follows {slope:.2f} of the car's speed" if not SLOPES[0] < slope < SLOPES[1] else ""
    what = what or f"follows the car's speed {delay:.1f} s late"
    text = (
        f"The air speed logged on the car {what} in run {number} and is left out {runs_called(wrong, every)}. "
        "Look whether its tubes are blocked, leak or hold water."
    )
    return Finding("airspeed-left-out", "check", text)


def _scale_finding(told: Quantity | None, stated: Quantity | None, used: bool) -> Finding:
    reads = "The scale of the air speed logged on the car can't be told without two coast-downs each way."
    if told is not None:
        reads = (
            f"The air speed logged on the car reads {told.value:.3f} ± {1.96 * told.u:.3f} of the true one (95 %), by "
            "ground speed and coast-downs both ways."
        )
    if used:
        return Finding("airspeed-scale", "note", f"{reads} It is used with the scale that was stated.")
    if stated is not None:
        return Finding("airspeed-scale", "check", f"{reads} That is not the scale that was stated, so it is not used.")
    text = (
        f"{reads} It is not used, as its scale is not stated to {100.0 * MOST_SCALE_U:.0f} %. Take the scale's mean "
        "over several days, divide the gain of [calibration.airspeed] by it and write its u as gain_rel_u; gusty days "
        "then tell more."
    )
    return Finding("airspeed-scale", "note", text)
