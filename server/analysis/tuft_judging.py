"""Which bars on a photo are tufts: how probable each is, from how it looks and from how many others look like it.

Tufts of one photo are cut from one or two rolls: about as long, as wide and of the same tone, each alone on its
surface, with two free ends. Letters touch each other, gaps between panels go on, weave has too many neighbours, edges
stand off on one side only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from server.analysis.tuft_candidates import Bars, neighbours
from server.analysis.tuft_lines import FloatArray

FEATURES = (
    *("evenness", "aspect", "thinness", "filled", "beside", "flank", "open", "crowd", "alike", "over_texture"),
    *("covered", "bent", "ends_unlike", "contrast", "touching", "continued"),
)
_ALIKE_LENGTH = 0.4  # natural logarithm of the ratio: perspective makes some shorter
_ALIKE_WIDTH = 0.4
_ALIKE_TONE = 40.0
_ALIKE_OFF = 60.0


def features(these: Bars) -> FloatArray:
    """What a bar is judged by, (n, len(FEATURES))."""
    seen, found = these.profiles, these.lines
    aspect = these.length / seen.width_px
    crowd = neighbours(these)
    unlike = sum(np.abs(np.log(np.clip(end, 0.2, 5.0))) for end in (seen.first, seen.last))
    touching, continued = _meeting(these)
    return np.stack([
        np.clip(seen.evenness, 0.2, 0.95), np.log(np.clip(aspect, 3.0, 9.0)), np.log(np.clip(aspect, 16.0, 40.0)),
        np.clip(seen.filled, 0.6, 1.0), np.clip(seen.beside, 0.0, 0.8), np.clip(seen.flank, 0.0, 1.0),
        these.opens.astype(float), np.clip(crowd, 0, 4).astype(float),
        np.log1p(np.clip(_alike(these, (crowd <= 1) & (touching < 1)), 0, 20)),
        np.log(np.clip(found.over_texture, 3.0, 20.0)),
        these.covered, np.clip(found.aside_px / found.step, 0.0, 2.0), unlike,
        np.log(np.clip(seen.contrast, 10.0, 80.0)), np.clip(touching, 0, 2), continued,
    ], axis=1)  # fmt: skip


def _alike(these: Bars, alone: NDArray[np.bool_]) -> FloatArray:
    """How many other bars, alone on their surface, are as long, as wide and of the same tone."""
    seen = these.profiles
    size = np.log(np.stack([these.length / _ALIKE_LENGTH, seen.width_px / _ALIKE_WIDTH], axis=1))
    clean = np.nonzero(alone & ~these.opens & (seen.evenness > 0.6))[0]
    count = np.zeros(len(these))
    for one in range(len(these)):
        like = np.abs(np.log(these.length[clean] / these.length[one])) < _ALIKE_LENGTH
        like &= np.abs(size[clean, 1] - size[one, 1]) < _ALIKE_WIDTH
        like &= np.linalg.norm(seen.tone[clean] - seen.tone[one], axis=1) < _ALIKE_TONE
        like &= np.linalg.norm(seen.off[clean] - seen.off[one], axis=1) < _ALIKE_OFF
        count[one] = like.sum() - (one in clean)
    return count


def _meeting(these: Bars) -> tuple[FloatArray, FloatArray]:
    """How many ends of a bar meet another of its tone, or others' meet it; and whether one goes on in its line."""
    count = len(these)
    touching, continued = np.zeros(count), np.zeros(count)
    if not count:
        return touching, continued
    middle, length, width, way = these.middle, these.length, these.profiles.width_px, these.lines.way_rad
    tree = cKDTree(middle)
    for one in range(count):
        for end in (these.start[one], these.stop[one]):
            near = np.array(tree.query_ball_point(end, 1.6 * length[one] + 10.0), np.intp)
            near = near[near != one]
            along, across = _on(end, middle[near], way[near])
            turn = np.abs(np.mod(way[near] - way[one] + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
            like = np.linalg.norm(these.profiles.tone[near] - these.profiles.tone[one], axis=1) < _ALIKE_TONE
            meets = (across < 1.2 * width[one] + 2.0) & (along < 0.5 * length[near] + width[one] + 2.0)
            meets &= (turn > 0.3) & like
            touching[one] += bool(meets.any())
            touching[near[meets]] += 0.5
            _, aside = _on(middle[near], middle[one], way[one])
            gap = along - 0.5 * length[near]
            goes_on = (turn < 0.2) & (aside < width[one] + 2.0) & (np.abs(gap) < 0.15 * length[one] + 3.0)
            continued[one] = max(continued[one], float(goes_on.any()))
    return touching, continued


def _on(point: FloatArray, middle: FloatArray, way: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distances of points from the middles of bars, along and across them."""
    off = point - middle
    c, s = np.cos(way), np.sin(way)
    return np.abs(off[..., 0] * c + off[..., 1] * s), np.abs(off[..., 1] * c - off[..., 0] * s)


# Logistic regression over the bars of 48 made-up photos; how it does on others: python -m tests.studies tufts
_CONSTANT = -1.69
_WEIGHTS: dict[str, float] = {
    "evenness": 0.87, "aspect": 2.69, "thinness": -5.01, "filled": 3.92,
    "beside": -1.05, "flank": -1.14, "open": -1.49, "crowd": -0.56,
    "alike": 1.92, "over_texture": 1.53, "covered": 0.43, "bent": -1.61,
    "ends_unlike": 0.10, "contrast": 0.39, "touching": -0.67, "continued": -0.11,
}  # fmt: skip


def probability(told: FloatArray) -> FloatArray:
    """That a bar is a tuft, from its features (n, len(FEATURES)): 1/(1 + exp(−b₀ − Σ b x))."""
    odds: FloatArray = _CONSTANT + told @ np.array([_WEIGHTS[name] for name in FEATURES])
    return 1.0 / (1.0 + np.exp(-odds))


# Threads of weave and grains can be many and alike; those below both are never tufts.
_LEAST_EVENNESS = 0.6
_LEAST_OVER_TEXTURE = 5.0
# Against the length of the photo's clearest bars: shorter ones must stand off by themselves.
_SHORT = 0.55
_CLEAR_EVENNESS = 0.8
_CLEAR_OVER_TEXTURE = 8.0


def likely(these: Bars, chance: FloatArray, least: float) -> NDArray[np.bool_]:
    """Which bars are proposed: probable enough, no weave, and not far shorter than those that stand off most.

    The length is the median of those probable enough, weighted by contrast and strength over texture: a few clear tufts
    outweigh hundreds of faint threads.
    """
    even, over = these.profiles.evenness, these.lines.over_texture
    good = (chance >= least) & ~these.opens & ((even >= _LEAST_EVENNESS) | (over >= _LEAST_OVER_TEXTURE))
    if not good.any():
        return good
    length, weight = these.length[good], (these.profiles.contrast * over * even)[good]
    order = np.argsort(length)
    total = np.cumsum(weight[order])
    usual = float(length[order][np.searchsorted(total, 0.5 * total[-1])])
    clear = (even >= _CLEAR_EVENNESS) & (over >= _CLEAR_OVER_TEXTURE)
    return np.asarray(good & ((these.length >= _SHORT * usual) | clear))
