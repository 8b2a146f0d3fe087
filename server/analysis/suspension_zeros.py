"""Readings of suspension sensors on the standing car, and which of them drift or jump."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from server.analysis.intervals import runs_of
from server.analysis.result import Pass
from server.analysis.speed_pick import best_signals
from server.analysis.suspension_sensors import sensors_of
from server.analysis.suspension_trace import LEG_TOP_MPS, DriveTrace
from server.testday.values import FloatArray, Run, Signal

BLOCK_S = 0.25
FEWEST_BLOCKS = 4
NEAR = 6.0
DOUBT = 5e-4  # probability of so large a drift when there is none
Manner = Literal["first", "braked", "shunted"]


@dataclass(frozen=True, slots=True)
class StaticZero:
    """A sensor's mean reading while the car stands, at the middle of that time on the run's clock [s].

    u: noise of the mean and drift within the stretch, in the reading's unit. What the joints hold back
    (± 2 f/K of the axle) and what the sensor does between this and the next standstill are not in it.
    """

    role: str
    time_s: float
    value: float
    u: float


def static_zeros(run: Run, passes: Sequence[Pass]) -> tuple[StaticZero, ...]:
    """Every suspension sensor's reading in every pass of kind 'zero' of a run, in order of role and time."""
    signals = best_signals(run)
    stands = [(p.start_s, p.end_s) for p in passes if p.run == run.number and p.kind == "zero" and p.used]
    found = []
    for sensor in sensors_of(signals):
        readings = (standing_reading(sensor.role, signals[sensor.role], *ends) for ends in sorted(stands))
        found += [reading for reading in readings if reading is not None]
    return tuple(found)


def standing_reading(role: str, signal: Signal, start_s: float, end_s: float) -> StaticZero | None:
    """A signal's reading over the settled part of a stretch in which the car stands; None where it is too short."""
    inside = (signal.time_s >= start_s) & (signal.time_s <= end_s) & np.isfinite(signal.values)
    time, values = signal.time_s[inside], signal.values[inside]
    if len(time) == 0:
        return None
    index = np.floor((time - time[0]) / BLOCK_S).astype(np.int64)
    count = np.bincount(index)
    full = count > 0
    block = _settled(np.bincount(index, values)[full] / count[full])
    n = len(block)
    if n < FEWEST_BLOCKS:
        return None
    k = np.arange(n) - 0.5 * (n - 1)
    slope = float(k @ block / (k @ k))
    left = block - np.mean(block) - slope * k
    noise = float(np.sqrt(left @ left / (n - 2) / n))
    u = float(np.hypot(noise, slope * n / np.sqrt(12.0)))
    return StaticZero(role, 0.5 * (start_s + end_s), float(np.mean(block)), u)


def _settled(block: FloatArray) -> FloatArray:
    """The longest stretch near the median: a car that begins to roll is slower than any speed shows at first."""
    off = np.abs(block - np.median(block))
    near = off <= max(NEAR * 1.4826 * float(np.median(off)), 1e-12)
    stretches = runs_of(near)
    first, last = stretches[np.argmax(stretches[:, 1] - stretches[:, 0])]
    return np.asarray(block[first : last + 1])


@dataclass(frozen=True, slots=True, eq=False)
class ZeroSeries:
    """One sensor's zeros of a day, arrays (n,): run, time on its clock, reading, and what the car did before:
    joints stand alike after alike."""

    run: NDArray[np.int64]
    time_s: FloatArray
    value: FloatArray
    manner: NDArray[np.str_]


@dataclass(frozen=True, slots=True, eq=False)
class ZeroFit:
    """levels: run → (level, u) of the first zero; drift: run → (change over the run, p, jump); jump: the change
    came at once; spread: what is left of the zeros, sd."""

    levels: Mapping[int, tuple[float, float]]
    drift: Mapping[int, tuple[float, float, bool]]
    spread: float


def zero_series(traces: Sequence[DriveTrace], passes: Sequence[Pass]) -> dict[str, ZeroSeries]:
    """Role → all its static zeros."""
    rows: dict[str, list[tuple[int, float, float, str]]] = {}
    for trace in traces:
        for zero in static_zeros(trace.run, passes):
            row = (trace.run.number, zero.time_s, zero.value, _before(trace, zero.time_s))
            rows.setdefault(zero.role, []).append(row)
    made = {}
    for role, found in rows.items():
        run, time, value, manner = zip(*found, strict=True)
        made[role] = ZeroSeries(np.array(run), np.array(time), np.array(value), np.array(manner))
    return made


def fit_zeros(series: ZeroSeries) -> ZeroFit | None:
    """Levels of the runs and their drift, with one offset of each manner of stopping; None with too few zeros."""
    runs = np.unique(series.run)
    columns = [(series.run == run).astype(float) for run in runs]
    columns += [(series.manner == m).astype(float) for m in ("braked", "shunted") if np.sum(series.manner == m) > 0]
    plain = _fitted(np.column_stack(columns), series.value)
    if plain is None:
        return None
    spread = float(np.sqrt(plain.left @ plain.left / plain.dof))
    levels = {int(r): (float(plain.estimate[k]), float(plain.u[k])) for k, r in enumerate(runs)}
    lasts = {int(r): float(np.ptp(series.time_s[series.run == r])) for r in runs}
    mean = max(float(np.mean(list(lasts.values()))), 1.0)
    share = np.zeros(len(series.value))
    for r in runs:
        mine = series.run == r
        share[mine] = (series.time_s[mine] - series.time_s[mine].min()) / mean
    drift = {}
    together = _fitted(np.column_stack([*columns, share]), series.value)
    if together is not None and (p := together.p_of_last()) < DOUBT:
        drift = {r: (float(together.estimate[-1]) * lasts[r] / mean, p, False) for r in lasts}
    else:
        for r, length in lasts.items():
            found = _own_change(series, np.column_stack(columns), r, share * mean / max(length, 1.0))
            if found is not None and (p := found[1] * len(lasts)) < DOUBT:
                drift[r] = (found[0], p, found[2])
    return ZeroFit(levels, drift, spread)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    estimate: FloatArray
    u: FloatArray
    left: FloatArray
    dof: int

    def p_of_last(self) -> float:
        """Probability of so large a last coefficient when it is 0."""
        return 2.0 * float(student.sf(abs(self.estimate[-1]) / max(float(self.u[-1]), 1e-12), self.dof))


def _fitted(rows: FloatArray, y: FloatArray) -> _Fit | None:
    """Least squares; None where fewer than two observations are left over or the last column tells nothing."""
    estimate, _, rank, _ = np.linalg.lstsq(rows, y, rcond=1e-9)
    dof = len(y) - int(rank)
    if dof < 2 or np.linalg.matrix_rank(rows[:, :-1], tol=1e-9) == rank:
        return None
    left = y - rows @ estimate
    covariance = np.linalg.pinv(rows.T @ rows) * float(left @ left) / dof
    return _Fit(np.asarray(estimate, dtype=np.float64), np.sqrt(np.diag(covariance)), left, dof)


def _before(trace: DriveTrace, time_s: float) -> Manner:
    """What the car did before it stood here: nothing yet, a fast drive, or slow shunting."""
    moving = np.flatnonzero((trace.speed_mps > 1.0) & (trace.time_s < time_s))
    if len(moving) == 0:
        return "first"
    last = moving[-1]
    still = np.flatnonzero(trace.speed_mps[:last] <= 1.0)
    begin = int(still[-1]) if len(still) else 0
    return "braked" if np.max(trace.speed_mps[begin : last + 1]) >= LEG_TOP_MPS else "shunted"


def _own_change(
    series: ZeroSeries, columns: FloatArray, run: int, share: FloatArray
) -> tuple[float, float, bool] | None:
    """Change of one run's zero, how probable so large a one is by chance, and whether it came at once.

    share: 0 to 1 over each run. The likelier of a slide and of a step between any two of the run's zeros, its
    probability times the number of these candidates.
    """
    mine = series.run == run
    time = np.sort(series.time_s[mine])
    middles = 0.5 * (time[1:] + time[:-1])
    slide = (np.where(mine, share, 0.0), False)
    steps = [((mine & (series.time_s > t)).astype(float), True) for t in middles] if len(time) >= 4 else []
    fits = [
        (fit, jump)
        for column, jump in (slide, *steps)
        if (fit := _fitted(np.column_stack([columns, column]), series.value))
    ]
    if not fits:
        return None
    best, jumped = min(fits, key=lambda each: float(each[0].left @ each[0].left))
    return float(best.estimate[-1]), best.p_of_last() * len(fits), jumped
