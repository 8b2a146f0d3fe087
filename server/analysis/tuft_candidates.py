"""Of all lines found at all sizes and in all colours, one for each bar on the photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from server.analysis.tuft_lines import FloatArray, IntArray, Lines
from server.analysis.tuft_profiles import Profiles

LEAST_LENGTH_PX = 14.0
LEAST_ASPECT = 3.0
_LEAST_EVENNESS = 0.15
_LEAST_FILLED = 0.6
_LEAST_CONTRAST = 9.0


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


def bars(found: Lines, seen: Profiles) -> Bars:
    """Lines with their ends where they cease to stand off; those too short, thick, faint or one-sided are left out."""
    way = np.stack([np.cos(found.way_rad), np.sin(found.way_rad)], axis=1)
    middle = np.stack([found.x, found.y], axis=1)
    start = middle + ((2.0 * seen.start - 1.0) * found.half_px)[:, None] * way
    stop = middle + ((2.0 * seen.stop - 1.0) * found.half_px)[:, None] * way
    covered = np.minimum(found.points * found.step / (2.0 * found.half_px + found.step), 1.0)
    every = Bars(found, seen, start, stop, covered)
    return every.some(
        (every.length >= LEAST_LENGTH_PX)
        & (every.length >= LEAST_ASPECT * seen.width_px)
        & (seen.evenness > _LEAST_EVENNESS)
        & (seen.filled > _LEAST_FILLED)
        & (seen.contrast > _LEAST_CONTRAST)
    )


def worth(these: Bars) -> FloatArray:
    """Which of several lines on one bar tells it best: strong, long, alike on both sides, whole, straight, closed."""
    seen, found = these.profiles, these.lines
    found_worth: FloatArray = (
        seen.contrast * np.sqrt(these.length) * seen.evenness**2 * seen.filled**2 * these.covered**2
        * np.exp(-2.0 * found.aside_px / found.step) * np.minimum(these.length / seen.width_px / 8.0, 1.0)
        * np.where(these.opens, 0.3, 1.0) / (0.2 + seen.beside)
    )  # fmt: skip
    return found_worth


def one_each(these: Bars) -> Bars:
    """Keep the best line of each bar: those on the same stretch go, and short ones that lie on it."""
    order = np.argsort(-worth(these))
    these = these.some(order)
    middle, length, way = these.middle, these.length, these.lines.way_rad
    width = these.profiles.width_px
    tree = cKDTree(middle) if len(these) else None
    gone = np.zeros(len(these), bool)
    for one in range(len(these)):
        if gone[one] or tree is None:
            continue
        near = np.array(tree.query_ball_point(middle[one], max(0.75 * length[one], 12.0)), np.intp)
        near = near[near > one]
        c, s = np.cos(way[one]), np.sin(way[one])
        off = middle[near] - middle[one]
        along, across = np.abs(off @ [c, s]), np.abs(off @ [-s, c])
        turn = np.abs(np.mod(way[near] - way[one] + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
        same = (across < 0.9 * np.maximum(width[one], width[near]) + 3.0) & (along < 0.55 * length[one] + 2.0)
        lies_on = (across < 1.5 * width[one] + 3.0) & (along < 0.5 * length[one] + width[one])
        same, lies_on = same & (turn < 0.45), lies_on & (length[near] < 0.5 * length[one])
        gone[near[same | lies_on]] = True
    kept: NDArray[np.bool_] = ~gone
    return these.some(kept)


def neighbours(these: Bars, reach: float = 0.8, fainter: float = 0.4) -> IntArray:
    """How many other bars about as strong lie within `reach` lengths of a bar's middle."""
    middle, length, contrast = these.middle, these.length, these.profiles.contrast
    if not len(these):
        return np.zeros(0, np.intp)
    tree = cKDTree(middle)
    found = tree.query_ball_point(middle, reach * length)
    count = np.zeros(len(these), np.intp)
    for one, near in enumerate(found):
        others = np.array(near, np.intp)
        fits = (length[others] > 0.25 * length[one]) & (length[others] < 4.0 * length[one])
        count[one] = int((fits & (contrast[others] > fainter * contrast[one])).sum()) - 1
    return count
