"""Values that stay the same: a slow sensor in a fast log, a sensor that froze, a range that ended."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.intervals import BoolArray, Intervals, inside
from server.testday.values import FloatArray

LEAST_REPEATS = 1.5
LEAST_EQUAL = 0.2
COARSE_STEPS = 3.0
FROZEN_S = 1.5
FROZEN_TIMES = 5.0
CLIPPED_RUN = 5
CLIPPED_SHARE = 0.003
PILE = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Runs of equal values: first and last sample, and how long each lasts, to the next change [s]."""

    first: NDArray[np.int64]
    last: NDArray[np.int64]
    lasts_s: FloatArray


def equal_runs(time_s: FloatArray, values: FloatArray) -> Runs:
    """Cut a record into runs of equal values; shape (runs,) each."""
    change = np.flatnonzero(np.diff(values) != 0.0) + 1
    first = np.concatenate([[0], change]).astype(np.int64)
    last = np.concatenate([change - 1, [len(values) - 1]]).astype(np.int64)
    ends = np.concatenate([time_s[change], [time_s[-1]]])
    return Runs(first, last, ends - time_s[first])


def renewal_samples(time_s: FloatArray, values: FloatArray, moving: BoolArray) -> int:
    """How many samples a value is repeated for because its sensor is slower than the log; 1 where it isn't.

    A coarse sensor repeats values too, but changes by single steps; a slow one by many.
    """
    if np.count_nonzero(values[1:] == values[:-1]) < LEAST_EQUAL * len(values):
        return 1
    runs = equal_runs(time_s, values)
    inner = moving[runs.first] & (np.arange(len(runs.first)) < len(runs.first) - 1)
    if np.count_nonzero(inner) < 10:
        return 1
    repeats = float(np.median(runs.last[inner] - runs.first[inner] + 1))
    steps = np.abs(np.diff(values[runs.first]))
    smallest = float(np.percentile(steps, 2))
    if repeats < LEAST_REPEATS or float(np.median(steps)) < COARSE_STEPS * smallest:
        return 1
    return max(2, round(repeats))


def renewed(time_s: FloatArray, values: FloatArray, every: int) -> BoolArray:
    """Which samples are new: the first of every run, and every `every`-th of a run that lasts longer."""
    runs = equal_runs(time_s, values)
    since = np.arange(len(values)) - np.repeat(runs.first, runs.last - runs.first + 1)
    return np.asarray(since % every == 0)


def frozen(time_s: FloatArray, values: FloatArray, moving: Intervals, least_jump: float) -> BoolArray:
    """Which samples repeat a value for far too long while the car moves.

    A run counts when it lasts over 1.5 s and five times the channel's ordinary repeats, and ends in a jump of
    at least least_jump (in the unit of values), in the end of the record, or goes on where the car stops.
    """
    if len(values) < 3 or not (values[1:] == values[:-1]).any():
        return np.zeros(len(values), dtype=bool)
    runs = equal_runs(time_s, values)
    long = runs.lasts_s > FROZEN_S
    if not long.any():
        return np.zeros(len(values), dtype=bool)
    on_the_move = inside(time_s[runs.first], moving) & inside(time_s[runs.last], moving)
    ordinary = float(np.percentile(runs.lasts_s[on_the_move], 75)) if on_the_move.any() else 0.0
    long &= on_the_move & (runs.lasts_s > FROZEN_TIMES * ordinary)
    jump = np.abs(np.diff(values[runs.first], append=np.inf))
    held = long & (jump >= least_jump)
    mask = np.repeat(held, runs.last - runs.first + 1)
    mask[runs.first] = False
    return np.asarray(mask)


def clipped(values: FloatArray, low_is_rest: bool = False) -> BoolArray:
    """Which samples lie on the end of the channel's range: many equal extreme values, in long runs.

    low_is_rest: the lowest value is where the channel rests and is no end of its range.
    """
    mask = np.zeros(len(values), dtype=bool)
    if len(values) < 50 or np.ptp(values) == 0.0:
        return mask
    for extreme in (np.max(values),) if low_is_rest else (np.max(values), np.min(values)):
        at = values == extreme
        if _piles_up(values, at, float(extreme)):
            mask |= at
    return mask


def _piles_up(values: FloatArray, at: BoolArray, extreme: float) -> bool:
    count = int(np.count_nonzero(at))
    if count < max(10, CLIPPED_SHARE * len(values)):
        return False
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
    longest = int(np.max(edges[1::2] - edges[::2]))
    near = np.count_nonzero(np.abs(values - extreme) < 0.02 * np.ptp(values)) - count
    return bool(longest >= CLIPPED_RUN and near >= 4 and count > PILE * near / 2.0)
