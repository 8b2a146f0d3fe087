"""What a day tells of the scale of its air speed: coast-downs both ways, in which the mean wind cancels.

In each pass Σ air speed over Σ ground speed; its mean over the passes out and over those back, and the mean of both.
What gusts leave is told by how the passes of a direction differ; zero and delay come on top.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.stats import t as student

from server.analysis.air_speed import AIR_ZERO
from server.analysis.pass_data import merged_signals
from server.analysis.result import Pass
from server.analysis.speed_pick import pick_speed
from server.testday.values import Car, Day, FloatArray, Quantity, Run

DELAY_U_S = 0.03  # of a delay that starts and brakes tell
COASTING_MPS2 = 1.5


def day_scale(day: Day, passes: Sequence[Pass], delay_s: float) -> Quantity | None:
    """Air speed over true air speed with its u; None without two passes each way. delay_s: of the air speed.

    u is that of a normal distribution with the same 95 % interval as Student's t of so few passes.
    """
    runs = {run.number: run for run in day.runs}
    ways: dict[int, list[float]] = {1: [], -1: []}
    speeds = []
    for found in passes:
        if found.used and found.kind == "coast-down" and found.direction:
            told = _sums(runs[found.run], day.car, (found.start_s, found.end_s), delay_s)
            if told is not None:
                ways[found.direction].append(told[0] / told[1])
                speeds.append(told[1])
    if min(len(each) for each in ways.values()) < 2:
        return None
    mean, u = _both_ways(ways)
    speed = float(np.mean(speeds))
    common = np.hypot(DELAY_U_S * COASTING_MPS2 / speed, 0.5 * AIR_ZERO.u / speed**2)
    return Quantity(mean, float(np.hypot(u, common)), "measured")


def _both_ways(ways: Mapping[int, Sequence[float]]) -> tuple[float, float]:
    """Mean of the two directions' means, and its u."""
    each = [np.array(values) for values in ways.values()]
    variance = sum(float(np.var(values, ddof=1)) / len(values) for values in each) / 4.0
    dof = sum(len(values) - 1 for values in each)
    few = float(student.ppf(0.975, dof)) / 1.96
    return float(np.mean([np.mean(values) for values in each])), float(np.sqrt(variance)) * few


def _sums(run: Run, car: Car, part: tuple[float, float], delay_s: float) -> tuple[float, float] | None:
    """Mean air speed of a pass and the mean ground speed that belongs to it [m/s]."""
    air = merged_signals(run).get("airspeed")
    source = pick_speed(run, car) if air is not None else None
    if air is None or source is None:
        return None
    inside = (air.time_s >= part[0] + max(delay_s, 0.0)) & (air.time_s <= part[1]) & np.isfinite(air.values)
    if np.count_nonzero(inside) < 8:
        return None
    time: FloatArray = air.time_s[inside]
    ground = np.interp(time - delay_s, source.signal.time_s, source.signal.values)
    return float(np.mean(air.values[inside])), float(np.mean(ground))
