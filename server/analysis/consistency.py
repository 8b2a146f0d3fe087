"""Coast-downs taken from the speed alone, held against each other: one car coasts along one curve.

deceleration = a + b v², least squares over the run's coast-downs, a and b ≥ 0, bent towards the middle
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import nnls

from server.analysis.result import Pass
from server.analysis.speed_series import SpeedSeries
from server.testday.values import Finding, FloatArray

FEWEST = 4
FACTOR = 2.2
SCATTER = 0.3
ROUNDS = 8
UNLIKE = "slows down {:.1f} times as hard as the run's other coast-downs"


def consistent(passes: Sequence[Pass], series: SpeedSeries, run: int) -> tuple[list[Pass], list[Finding]]:
    """Turn down used coast-downs that slow down unlike the others, and say when those left still scatter."""
    used = [p for p in passes if p.used]
    if len(used) < FEWEST:
        return list(passes), []
    slows, square, length = _rates(used, series)
    ratio = slows / _curve(slows, square, length)
    odd = {id(p): r for p, r in zip(used, ratio, strict=True) if not 1.0 / FACTOR < r < FACTOR}
    judged = [replace(p, used=False, reason=UNLIKE.format(odd[id(p)])) if id(p) in odd else p for p in passes]
    scatter = float(np.std(np.log(np.clip(ratio, 1.0 / FACTOR, FACTOR))))
    if scatter < SCATTER:
        return judged, []
    text = (
        f"What looks like coasting in run {run} slows down by amounts that scatter by "
        f"{100.0 * scatter:.0f} %: part of it may be driven or braked. Log throttle and brake, or mark the "
        "passes by hand."
    )
    return judged, [Finding("coasting-doubtful", "check", text, run)]


def _rates(passes: Sequence[Pass], series: SpeedSeries) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean deceleration [m/s²], mean square of speed [m²/s²] and length [s] of every pass."""
    rows = []
    for p in passes:
        time, speed = series.between(p.start_s, p.end_s)
        slope = np.polyfit(time - time[0], speed, 1)[0]
        rows.append((max(-float(slope), 1e-3), float(np.mean(speed**2)), p.end_s - p.start_s))
    table = np.array(rows).T
    return table[0], table[1], table[2]


def _curve(slows: FloatArray, square: FloatArray, length: FloatArray) -> FloatArray:
    """The common curve at every pass, by reweighted least squares of relative errors."""
    design = np.column_stack([np.ones_like(square), square])
    curve = np.full_like(slows, float(np.median(slows)))
    for _ in range(ROUNDS):
        off = np.abs(np.log(slows / curve))
        scale = max(float(np.median(off)), 0.05)
        weight = np.sqrt(length) / curve / np.sqrt(np.maximum(off / scale, 1.0))
        theta = nnls(design * weight[:, None], slows * weight)[0]
        curve = np.maximum(design @ theta, 1e-3)
    return np.asarray(curve)
