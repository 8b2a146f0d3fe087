"""Sets of time intervals [s]: arrays of shape (n, 2), sorted, apart from each other, starts before ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from server.testday.values import FloatArray

Intervals = FloatArray
BoolArray = NDArray[np.bool_]


def no_intervals() -> Intervals:
    """The empty set."""
    return np.zeros((0, 2))


def intervals(pairs: list[tuple[float, float]] | FloatArray) -> Intervals:
    """Sort pairs (start, end) [s] and join those that touch; empty ones are left out."""
    table = np.asarray(pairs, dtype=np.float64).reshape(-1, 2)
    table = table[table[:, 1] > table[:, 0]]
    if len(table) == 0:
        return no_intervals()
    table = table[np.argsort(table[:, 0], kind="stable")]
    reach = np.maximum.accumulate(table[:, 1])
    new = np.concatenate([[True], table[1:, 0] > reach[:-1]])
    first = np.flatnonzero(new)
    last = np.concatenate([first[1:] - 1, [len(table) - 1]])
    return np.column_stack([table[first, 0], reach[last]])


def runs_of(mask: BoolArray) -> NDArray[np.int64]:
    """First and last index of every run of True, shape (n, 2)."""
    step = np.diff(np.concatenate([[0], mask.astype(np.int8), [0]]))
    return np.column_stack([np.flatnonzero(step == 1), np.flatnonzero(step == -1) - 1])


def where(time_s: FloatArray, mask: BoolArray, reach: bool = False) -> Intervals:
    """Intervals in which mask holds, from first to last sample of each run of True.

    reach: go on to the neighbouring samples, since nothing is known of the time between two samples.
    """
    if len(time_s) == 0:
        return no_intervals()
    found = runs_of(mask)
    first, last = found[:, 0], found[:, 1]
    if reach:
        first, last = np.maximum(first - 1, 0), np.minimum(last + 1, len(time_s) - 1)
    return intervals(np.column_stack([time_s[first], time_s[last]]))


def join(*sets: Intervals) -> Intervals:
    """What lies in any of the sets."""
    return intervals(np.vstack([no_intervals(), *sets]))


def complement(of: Intervals, start_s: float, end_s: float) -> Intervals:
    """What of [start_s, end_s] lies outside the set."""
    starts = np.concatenate([[start_s], of[:, 1]])
    ends = np.concatenate([of[:, 0], [end_s]])
    return intervals(np.column_stack([np.maximum(starts, start_s), np.minimum(ends, end_s)]))


def meet(a: Intervals, b: Intervals) -> Intervals:
    """What lies in both sets."""
    if len(a) == 0 or len(b) == 0:
        return no_intervals()
    start = np.maximum(a[:, None, 0], b[None, :, 0]).ravel()
    end = np.minimum(a[:, None, 1], b[None, :, 1]).ravel()
    return intervals(np.column_stack([start, end]))


def without(a: Intervals, b: Intervals) -> Intervals:
    """What of a lies outside b."""
    if len(a) == 0 or len(b) == 0:
        return a
    return meet(a, complement(b, float(a[0, 0]), float(a[-1, 1])))


def lasting(of: Intervals, least_s: float) -> Intervals:
    """The intervals that last at least so long."""
    return of[of[:, 1] - of[:, 0] >= least_s]


def bridged(of: Intervals, gap_s: float) -> Intervals:
    """The set with gaps up to gap_s closed."""
    if len(of) == 0:
        return of
    widened = of + np.array([0.0, gap_s])
    return np.asarray(intervals(widened) - np.array([0.0, gap_s]))


def covered_s(of: Intervals, start_s: float, end_s: float) -> float:
    """How many seconds of [start_s, end_s] lie in the set."""
    low = np.maximum(of[:, 0], start_s)
    high = np.minimum(of[:, 1], end_s)
    return float(np.sum(np.maximum(high - low, 0.0)))


def inside(time_s: FloatArray, of: Intervals) -> BoolArray:
    """Which times lie in the set (ends included)."""
    if len(of) == 0:
        return np.zeros(len(time_s), dtype=bool)
    at = np.searchsorted(of[:, 0], time_s, side="right") - 1
    return np.asarray((at >= 0) & (time_s <= of[np.maximum(at, 0), 1]))
