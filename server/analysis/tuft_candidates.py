"""Of all lines found at all sizes and in all colours, one for each bar on the photo."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from server.analysis.tuft_lines import FloatArray, IntArray, Lines
from server.analysis.tuft_profiles import Profiles

LEAST_LENGTH_PX = 12.0
LEAST_ASPECT = 2.2
LEAST_ODDS = -4.0  # logarithm: below this nothing that follows makes a tuft of it
_LEAST_CONTRAST = 7.0


@dataclass(frozen=True, slots=True, eq=False)
class Bars:
    """Bars with two ends, arrays (n,) and (n, 2) [px]; covered: share of the line that ridge points make up."""

    lines: Lines
    profiles: Profiles
    start: FloatArray
    stop: FloatArray
    covered: FloatArray

    def __len__(self) -> int:
        """Number of bars."""
        return len(self.covered)

    def some(self, which: NDArray[np.generic]) -> Bars:
        """Those of an index or a mask."""
        return Bars(self.lines.some(which), self.profiles.some(which), self.start[which], self.stop[which],
                    self.covered[which])  # fmt: skip

    @property
    def middle(self) -> FloatArray:
        """Half way between the ends."""
        return 0.5 * (self.start + self.stop)

    @property
    def length(self) -> FloatArray:
        """From end to end [px]."""
        return np.hypot(self.stop[:, 0] - self.start[:, 0], self.stop[:, 1] - self.start[:, 1])

    @property
    def opens(self) -> NDArray[np.bool_]:
        """Whether the line goes on beyond what was looked at, at either end."""
        return self.profiles.open_start | self.profiles.open_stop


def bars(found: Lines, seen: Profiles, of: IntArray) -> Bars:
    """Lines with their ends where they cease to stand off; those far too short, thick or faint are left out.

    of: which line each profile is of. The bounds only save time: which of them are tufts is judged by all of it.
    """
    found = found.some(of)
    way = np.stack([np.cos(found.way_rad), np.sin(found.way_rad)], axis=1)
    middle = np.stack([found.x, found.y], axis=1)
    start = middle + ((2.0 * seen.start - 1.0) * found.half_px)[:, None] * way
    stop = middle + ((2.0 * seen.stop - 1.0) * found.half_px)[:, None] * way
    every = Bars(found, seen, start, stop, np.zeros(len(found)))
    covered = np.minimum(found.points * found.step / (every.length + found.step), 1.2)
    return replace(every, covered=covered).some(
        (every.length >= LEAST_LENGTH_PX)
        & (every.length >= LEAST_ASPECT * seen.width_px)
        & (seen.contrast > _LEAST_CONTRAST)
    )


def one_each(these: Bars, odds: FloatArray) -> IntArray:
    """The likeliest bar of each place: others on the same stretch go, and short ones that lie on it; likeliest first.

    odds: logarithms of the odds that a bar is a tuft from end to end.
    """
    order = np.argsort(-odds, kind="stable")
    order = order[odds[order] > LEAST_ODDS]
    if not len(order):
        return order
    these = these.some(order)
    middle, length, way, width = these.middle, these.length, these.lines.way_rad, these.profiles.width_px
    tree = cKDTree(middle)
    gone = np.zeros(len(order), bool)
    for one in range(len(order)):
        if gone[one]:
            continue
        near = np.array(tree.query_ball_point(middle[one], max(0.75 * length[one], 12.0)), np.intp)
        near = near[near > one]
        along, across = offsets(middle[near], middle[one], way[one])
        turn = apart(way[near], way[one])
        same = (across < 0.9 * np.maximum(width[one], width[near]) + 3.0) & (turn < 0.45)
        same &= along < 0.55 * np.maximum(length[one], length[near]) + 2.0
        lies_on = (across < 1.5 * width[one] + 3.0) & (along < 0.5 * length[one] + width[one])
        gone[near[same | (lies_on & (length[near] < 0.5 * length[one]))]] = True
    return order[~gone]


def offsets(points: FloatArray, middle: FloatArray, way: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Distances of points from the middles of bars, along and across them."""
    off = points - middle
    c, s = np.cos(way), np.sin(way)
    return np.abs(off[..., 0] * c + off[..., 1] * s), np.abs(off[..., 1] * c - off[..., 0] * s)


def apart(one: FloatArray, other: FloatArray | float) -> FloatArray:
    """Angle between ways, each mod π."""
    turn: FloatArray = np.abs(np.mod(one - other + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
    return turn
