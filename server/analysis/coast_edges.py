"""The ends of a coast-down seen in the speed alone, and what bounds it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from server.analysis.kinks import find_kink
from server.analysis.segmentation import Pieces
from server.analysis.slow_edges import grow_back, grow_on
from server.analysis.speed_series import SpeedSeries, block_means
from server.testday.values import FloatArray

Cause = Literal[
    "lift", "throttle", "brake", "brake released", "driveline", "turn", "hole", "record", "rest", "low speed"
]
SLOW_LOG_S = 0.4
FINEST_S = 0.04
GRID_S = 0.02
OUTSIDE_S = 3.0
INSIDE_S = 5.0
SEARCH_S = 2.0
STANDING_MPS = 1.0
JUMP_MPS = 0.15
JUMP_MPS2 = 0.3
JUMP_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch without drive or brake [s] and what bounds it.

    *_seen: the bound comes from a channel, not from the speed's shape.
    """

    start_s: float
    end_s: float
    start_cause: Cause
    end_cause: Cause
    start_seen: bool = False
    end_seen: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A record without holes, cut into pieces; sigma_mps: noise of a sample."""

    time_s: FloatArray
    speed_mps: FloatArray
    sigma_mps: float
    pieces: Pieces


def place_ends(series: SpeedSeries, cut: Cut, first: int, last: int) -> Stretch:
    """The chain of pieces first … last as a stretch, both ends on the safe side of where it bends."""
    pieces = cut.pieces
    causes = _before(pieces, first), _after(pieces, last)
    if series.period_s > SLOW_LOG_S:
        low, high = int(pieces.first[first]), int(pieces.last[last])
        begin = grow_back(cut.time_s, cut.speed_mps, low, high, cut.sigma_mps)
        stop = grow_on(cut.time_s, cut.speed_mps, low, high, cut.sigma_mps)
        return Stretch(float(cut.time_s[begin]), float(cut.time_s[stop]), *causes)
    rough = Stretch(float(pieces.start_s[first]), float(pieces.end_s[last]), *causes)
    placed = rough
    if first > 0:
        back = rough.start_s - float(pieces.start_s[first - 1])
        start = _latest_start(series, cut, rough, back)
        placed = replace(placed, start_s=max(start, rough.start_s) if jumps(cut, first - 1) else start)
    if last < len(pieces.first) - 1:
        ahead = float(pieces.end_s[last + 1]) - rough.end_s
        end = _earliest_end(series, cut, rough, ahead)
        placed = replace(placed, end_s=min(end, rough.end_s) if jumps(cut, last) else end)
    return placed


def jumps(cut: Cut, i: int) -> bool:
    """Whether something lies between pieces i and i + 1 that neither shows: the speeds don't meet."""
    pieces = cut.pieces
    wait = pieces.start_s[i + 1] - pieces.end_s[i]
    drift = 0.5 * (pieces.end_mps2[i] + pieces.start_mps2[i + 1]) * wait
    jump = pieces.start_mps[i + 1] - pieces.end_mps[i] - drift
    return bool(abs(jump) > JUMP_SIGMAS * cut.sigma_mps + JUMP_MPS + JUMP_MPS2 * wait)


def _before(pieces: Pieces, first: int) -> Cause:
    if first == 0:
        return "record"
    return "lift" if pieces.mean_mps2[first - 1] > pieces.start_mps2[first] else "brake released"


def _after(pieces: Pieces, last: int) -> Cause:
    if last == len(pieces.first) - 1:
        return "record"
    if pieces.end_mps[last] < 1.5 * STANDING_MPS and pieces.end_mps[last + 1] < STANDING_MPS:
        return "rest"
    return "throttle" if pieces.mean_mps2[last + 1] > pieces.end_mps2[last] else "brake"


def _latest_start(series: SpeedSeries, cut: Cut, rough: Stretch, back_s: float) -> float:
    """Latest time at which the coasting may have begun; the trim after the lift covers the rest."""
    step, outside, inside = _windows(series, rough, back_s)
    time, speed = _samples(series, rough.start_s - outside, rough.start_s + inside)
    low, high = rough.start_s - outside + step, rough.start_s + min(SEARCH_S + step, 0.6 * inside)
    grid = np.arange(low, high, max(step / 5.0, GRID_S))
    kink = find_kink(time, speed, grid, coasting="after", sigma_mps=cut.sigma_mps, sure=1.0)
    return kink.latest_s if kink else rough.start_s + step


def _earliest_end(series: SpeedSeries, cut: Cut, rough: Stretch, ahead_s: float) -> float:
    """Earliest time at which the coasting may have ended."""
    step, outside, inside = _windows(series, rough, ahead_s)
    time, speed = _samples(series, rough.end_s - inside, rough.end_s + outside)
    low, high = rough.end_s - min(SEARCH_S + step, 0.6 * inside), rough.end_s + outside - step
    grid = np.arange(low, high, max(step / 5.0, GRID_S))
    kink = find_kink(time, speed, grid, coasting="before", sigma_mps=cut.sigma_mps, sure=2.0)
    return kink.earliest_s if kink else rough.end_s - step


def _windows(series: SpeedSeries, rough: Stretch, neighbour_s: float) -> tuple[float, float, float]:
    """Spacing of the samples used, and how far to look outside and inside of an end [s]."""
    step = max(series.period_s, FINEST_S)
    outside = min(OUTSIDE_S, max(neighbour_s, 2.0 * step))
    inside = min(max(INSIDE_S, 5.0 * step), rough.end_s - rough.start_s)
    return step, outside, inside


def _samples(series: SpeedSeries, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    low, high = np.searchsorted(series.time_s, [start_s, end_s])
    time, speed = series.time_s[low:high], series.speed_mps[low:high]
    return block_means(time, speed, FINEST_S) if len(time) > 2 else (time, speed)
