"""Which ends of bars meet others: letters and grids do, tufts hang free."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from server.analysis.tuft_candidates import Bars, apart, offsets
from server.analysis.tuft_lines import FloatArray, IntArray

MEETING = ("touching", "touching_other", "continued")
_ALIKE_TONE = 40.0


def meeting(these: Bars) -> FloatArray:
    """How many ends of a bar meet another of its tone, and one of another tone; whether one goes on in its line."""
    found = np.zeros((len(these), len(MEETING)))
    if not len(these):
        return found
    middle, length = these.middle, these.length
    tree = cKDTree(middle)
    for end in (these.start, these.stop):
        for one, near in enumerate(tree.query_ball_point(end, 1.6 * length + 10.0)):
            others = np.array([k for k in near if k != one], np.intp)
            if len(others):
                found[one] += _met(these, (middle, length), one, end[one], others)
    found[:, 2] = np.minimum(found[:, 2], 1.0)
    return found


def _met(
    these: Bars, lie: tuple[FloatArray, FloatArray], one: int, end: FloatArray, near: IntArray
) -> tuple[bool, bool, bool]:
    (middle, length), way, seen = lie, these.lines.way_rad, these.profiles
    width = float(seen.width_px[one])
    along, across = offsets(end, middle[near], way[near])
    turn = apart(way[near], way[one])
    like = np.linalg.norm(seen.tone[near] - seen.tone[one], axis=1) < _ALIKE_TONE
    meets = (across < 1.2 * width + 2.0) & (along < 0.5 * length[near] + width + 2.0) & (turn > 0.3)
    _, aside = offsets(middle[near], middle[one], way[one])
    gap = np.abs(along - 0.5 * length[near])
    goes_on = (turn < 0.2) & (aside < width + 2.0) & (gap < 0.15 * length[one] + 3.0)
    return bool((meets & like).any()), bool((meets & ~like).any()), bool(goes_on.any())
