"""Coast-downs seen in the speed alone: smooth stretches that slow down as a coasting car can.

The record is cut into parabolas; pieces that slow down within the coasting band are joined where their
decelerations meet (a gust bends, a brake kinks); `coast_edges` then places both ends.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from server.analysis.coast_edges import Cut, Stretch, jumps, place_ends
from server.analysis.coasting_band import CoastingBand
from server.analysis.kinks import find_kink
from server.analysis.segmentation import IntArray, Pieces, describe_pieces, split_smooth
from server.analysis.speed_series import LEAST_NOISE_MPS, SpeedSeries
from server.testday.values import FloatArray

CRAWL_MPS = 1.0
BEYOND_BAND = 2.5
# a coasting car's deceleration fades; it grows by gusts only, so much and by so large a share of itself
BEND_MPS2 = 0.35
BEND_SHARE = 0.3
HIDDEN_MPS2 = 0.15
# how far decelerations of neighbouring pieces may lie apart
JOINT_MPS2 = 0.2
JOINT_SHARE = 0.4
ROUGH_SIGMAS = 2.5
# a short piece at an end that lies so far from the curve of the others is no coasting
STRAY_MPS2 = 0.1
STRAY_SHARE = 0.4
STRAY_S = 3.0
# a first piece so much weaker than the curve is the car held at speed before the lift
WEAK_SHARE = 0.5
WEAK_S = 8.0


def coasts_in_speed(series: SpeedSeries, band: CoastingBand) -> list[Stretch]:
    """All stretches that look like coasting, in order, their ends on the safe side."""
    found: list[Stretch] = []
    for time, speed in _unbroken(series):
        cut = _cut(time, speed, series.sigma_mps)
        chains = _joined(cut, looks_like_coasting(cut.pieces, band, cut.sigma_mps))
        found.extend(place_ends(series, cut, first, last) for first, last in chains)
    return [s for s in found if s.end_s > s.start_s]


def looks_like_coasting(pieces: Pieces, band: CoastingBand, sigma_mps: float) -> NDArray[np.bool_]:
    """Which pieces slow down smoothly, above a crawl, no less than the band and not far beyond it.

    Beyond the band they are joined too: a car in gear coasts along one smooth curve that leaves the band
    where it is slow, and must be turned down as a whole.
    """
    mean_speed = 0.5 * (pieces.start_mps + pieces.end_mps)
    slows = -pieces.mean_mps2
    least, most = band.least(mean_speed), band.most(mean_speed)
    slack = np.minimum(2.0 * pieces.mean_u_mps2, 0.5 * least)
    within = (slows >= least - slack) & (slows <= BEYOND_BAND * most + slack)
    smooth = pieces.left_mps <= ROUGH_SIGMAS * sigma_mps
    smooth &= pieces.end_mps2 - pieces.start_mps2 > -BEND_MPS2 - BEND_SHARE * slows
    return np.asarray(within & smooth & (mean_speed > CRAWL_MPS) & (pieces.last > pieces.first))


def _unbroken(series: SpeedSeries) -> list[tuple[FloatArray, FloatArray]]:
    """Blocks between the holes."""
    cuts = np.searchsorted(series.block_s, 0.5 * (series.holes[:, 0] + series.holes[:, 1]))
    times = np.split(series.block_s, cuts)
    return [pair for pair in zip(times, np.split(series.block_mps, cuts), strict=True) if len(pair[0]) >= 4]


def _cut(time: FloatArray, speed: FloatArray, sigma: float) -> Cut:
    """Pieces, and the noise that they leave: the first guess of it may hold driving, or miss slow noise."""
    cut = _cut_once(time, speed, sigma)
    left = _noise_left(cut)
    return cut if abs(left - sigma) < 0.2 * sigma else _cut_once(time, speed, left)


def _cut_once(time: FloatArray, speed: FloatArray, sigma: float) -> Cut:
    cuts = _straighten(time, speed, split_smooth(time, speed, sigma), sigma)
    return Cut(time, speed, sigma, describe_pieces(time, speed, cuts, sigma))


def _noise_left(cut: Cut) -> float:
    pieces = cut.pieces
    n = pieces.last - pieces.first + 1
    long = (n >= 7) & (np.maximum(pieces.start_mps, pieces.end_mps) > CRAWL_MPS)
    if np.count_nonzero(long) < 3:
        return cut.sigma_mps
    variance = pieces.left_mps[long] ** 2 * n[long] / (n[long] - 3)
    return max(LEAST_NOISE_MPS, float(np.sqrt(np.median(variance))))


def _straighten(time: FloatArray, speed: FloatArray, cuts: IntArray, sigma: float) -> IntArray:
    """Cut once more where a parabola bent as no coast-down does: it hides a kink."""
    pieces = describe_pieces(time, speed, cuts, sigma)
    hides = pieces.end_mps2 - pieces.start_mps2 < -HIDDEN_MPS2
    hides |= (pieces.end_mps2 > BEND_MPS2) & (pieces.start_mps2 < 0.0)
    hides &= pieces.last - pieces.first >= 5
    more = [
        i + _corner(time[i : j + 1], speed[i : j + 1])
        for i, j in zip(pieces.first[hides], pieces.last[hides], strict=True)
    ]
    return np.unique(np.concatenate([cuts, np.array(more, dtype=np.int64)]))


def _corner(time: FloatArray, speed: FloatArray) -> int:
    """Sample at which a parabola and a line, joined, describe the piece best."""
    kink = find_kink(time, speed, time[2:-2], coasting="after", sigma_mps=LEAST_NOISE_MPS)
    return int(np.searchsorted(time, kink.best_s)) if kink else len(time) // 2


def _joined(cut: Cut, coasting: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last piece of every chain of coasting pieces whose decelerations meet."""
    chains: list[tuple[int, int]] = []
    for i in np.flatnonzero(coasting).tolist():
        if chains and chains[-1][1] == i - 1 and _meets(cut, i - 1):
            chains[-1] = (chains[-1][0], i)
        else:
            chains.append((i, i))
    return [_trusted(cut.pieces, first, last) for first, last in chains]


def _meets(cut: Cut, i: int) -> bool:
    """Whether piece i + 1 goes on as piece i ended, in speed and in deceleration."""
    if jumps(cut, i):
        return False
    pieces = cut.pieces
    before, after = pieces.end_mps2[i], pieces.start_mps2[i + 1]
    slack = 2.0 * min(pieces.mean_u_mps2[i] + pieces.mean_u_mps2[i + 1], 0.2)
    return bool(abs(after - before) <= JOINT_SHARE * max(abs(before), abs(after)) + JOINT_MPS2 + slack)


def _trusted(pieces: Pieces, first: int, last: int) -> tuple[int, int]:
    """The chain without short end pieces that stray from the curve of the others."""
    while last > first and _strays(pieces, first, np.arange(first + 1, last + 1)):
        first += 1
    while last > first and _strays(pieces, last, np.arange(first, last)):
        last -= 1
    return first, last


def _strays(pieces: Pieces, end: int, others: IntArray) -> bool:
    """Whether an end piece's mean acceleration lies off a0 + a2 v² of the others."""
    span = pieces.end_s - pieces.start_s
    if span[end] > 0.5 * np.sum(span[others]):
        return False
    v = np.concatenate([pieces.start_mps[others], pieces.end_mps[others]])
    a = np.concatenate([pieces.start_mps2[others], pieces.end_mps2[others]])
    weight = np.sqrt(np.concatenate([span[others], span[others]]))
    design = np.column_stack([np.ones_like(v), v**2]) * weight[:, None]
    curve = np.linalg.lstsq(design, a * weight, rcond=None)[0]
    middle = 0.5 * (pieces.start_mps[end] + pieces.end_mps[end])
    expected = float(curve[0] + curve[1] * middle**2)
    seen = float(pieces.mean_mps2[end])
    if end < others[0] and span[end] <= WEAK_S and -seen < WEAK_SHARE * -expected:
        return True
    return bool(span[end] <= STRAY_S and abs(seen - expected) > STRAY_SHARE * abs(expected) + STRAY_MPS2)
