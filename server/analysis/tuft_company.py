"""A second look at each bar beside the photo's sure tufts: is it as long, wide and light as they are, and among them?

What lies about a car can look like a tuft, and rarely like the tufts of its photo, which are cut from one or two rolls.
Letters touch each other, gaps between panels go on, weave has too many neighbours, a shadow and a rim made crisp lie
beside a stronger bar. Where a bar points against its neighbours does not count: a tuft that turns across or against the
flow is looked for.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from server.analysis.tuft_candidates import Bars, apart, offsets
from server.analysis.tuft_lines import FloatArray, IntArray
from server.analysis.tuft_meeting import MEETING, meeting
from server.analysis.tuft_weights import judged

COMPANY = (
    *("unlike", "other_tone", "other_hue", "length_around", "longer_than_around", "thinner_than_around", "tone_around"),
    *("nearest", "fifth", "other_length", "longer", "wider", "stronger", "sure"),
    *("crowd", "likely_crowd", "strong_crowd", "beside_stronger", "times_stronger", "opposite", "of_likely"), *MEETING,
)  # fmt: skip
SURE_FROM = 1.4  # logarithm of the odds at the first look
_LEAST_SURE = 4
_FEW = 6
_LENGTH, _WIDTH, _OFF, _TONE = 0.25, 0.3, 35.0, 60.0  # by how much tufts of one roll differ: logarithms, levels
_AROUND = 5  # of the nearest sure ones


def second_look(these: Bars, told: FloatArray, odds: FloatArray) -> FloatArray:
    """How probable it is that a bar is a tuft.

    From its own features, its odds at the first look and the company that it is in.
    """
    if not len(these):
        return np.zeros(0)
    found: FloatArray = 1.0 / (1.0 + np.exp(-judged("second", with_company(these, told, odds))))
    return found


def with_company(these: Bars, told: FloatArray, odds: FloatArray) -> FloatArray:
    """What a bar is judged by at the second look, (n, len(FEATURES) + 1 + len(COMPANY))."""
    return np.concatenate([told, odds[:, None], company(these, odds)], axis=1)


def company(these: Bars, odds: FloatArray) -> FloatArray:
    """How a bar stands to the others of its photo, (n, len(COMPANY))."""
    sure = np.nonzero(odds >= SURE_FROM)[0]
    if len(sure) < _LEAST_SURE:
        sure = np.argsort(-odds, kind="stable")[:_FEW]
    chance = 1.0 / (1.0 + np.exp(-odds))
    parts = [_looks(these, sure), _around(these, sure), _usual(these, sure), _crowd(these, chance),
             _parallel(these, chance), meeting(these)]  # fmt: skip
    return np.concatenate(parts, axis=1)


def _looks(these: Bars, sure: IntArray) -> FloatArray:
    """How unlike it is to the sure ones that it is most like: in all, in tone, in hue.

    A quarter of them, or an eighth, are held against it: a photo has tufts of two rolls.
    """
    seen = these.profiles
    size = np.stack([np.log(these.length) / _LENGTH, np.log(np.maximum(seen.width_px, 1.0)) / _WIDTH], axis=1)
    every = np.concatenate([size, seen.tone / _TONE, seen.off / _OFF], axis=1)
    hue = 5.0 * seen.tone / np.maximum(np.linalg.norm(seen.tone, axis=1), 1e-6)[:, None]
    return np.stack([
        np.log(0.5 + _most_like(every, sure, 4)), np.log(5.0 + _most_like(seen.tone, sure, 8)), _most_like(hue, sure, 8)
    ], axis=1)  # fmt: skip


def _most_like(looks: FloatArray, sure: IntArray, share: int) -> FloatArray:
    """Mean distance to the most alike of the sure ones, itself left out."""
    away = np.sort(_from_others(cdist(looks, looks[sure]), sure), axis=1)
    others = np.maximum(len(sure) - np.isinf(away).sum(axis=1), 1)
    count = np.minimum(others, np.maximum(3, others // share))
    total = np.cumsum(np.where(np.isinf(away), 0.0, away), axis=1)
    found: FloatArray = total[np.arange(len(looks)), count - 1] / count
    return found


def _from_others(away: FloatArray, sure: IntArray) -> FloatArray:
    away[sure, np.arange(len(sure))] = np.inf
    return away


def _around(these: Bars, sure: IntArray) -> FloatArray:
    """Against the five nearest sure ones: in length, width and tone; how near the first and last of them are."""
    away = _from_others(cdist(these.middle, these.middle[sure]), sure)
    if len(sure) < 2:
        return np.tile([0.0, 0.0, 0.0, np.log(5.0), 3.0, 3.0], (len(these), 1))
    order = np.argsort(away, axis=1, kind="stable")[:, : min(_AROUND, len(sure) - 1)]
    near, length, width = sure[order], np.log(these.length), np.log(np.maximum(these.profiles.width_px, 1.0))
    tone = np.linalg.norm(these.profiles.tone[near] - these.profiles.tone[:, None], axis=2).min(axis=1)
    far = np.log(np.take_along_axis(away, order, axis=1)[:, [0, -1]] / these.length[:, None] + 0.05)
    return np.stack([
        np.clip(np.median(np.abs(length[near] - length[:, None]), axis=1), 0.0, 1.5),
        np.clip(length - np.median(length[near], axis=1), -1.5, 1.5),
        np.clip(np.median(width[near], axis=1) - width, -1.5, 1.5), np.log(5.0 + tone), *np.clip(far.T, -2.0, 3.0),
    ], axis=1)  # fmt: skip


def _usual(these: Bars, sure: IntArray) -> FloatArray:
    """Against the middle one of the sure: length, width, contrast (logarithms); and how many they are."""
    told = [np.log(np.maximum(each, 1.0)) for each in (these.length, these.profiles.width_px, these.profiles.contrast)]
    longer, wider, stronger = (np.clip(each - np.median(each[sure]), -2.0, 1.5) for each in told)
    return np.stack([np.minimum(np.abs(longer), 1.5), longer, wider, stronger,
                     np.full(len(these), np.log1p(len(sure)))], axis=1)  # fmt: skip


def _crowd(these: Bars, chance: FloatArray) -> FloatArray:
    """How many bars of about its length are within 0.8 of it; likely ones; those about as strong."""
    middle, length, contrast = these.middle, these.length, these.profiles.contrast
    found = np.zeros((len(these), 3))
    for one, near in enumerate(cKDTree(middle).query_ball_point(middle, 0.8 * length)):
        others = np.array([k for k in near if k != one], np.intp)
        others = others[np.abs(np.log(length[others] / length[one])) < 1.4]
        strong = int((contrast[others] > 0.4 * contrast[one]).sum())
        found[one] = min(len(others), 8), min(float(chance[others].sum()), 4.0), min(strong, 8)
    return found


def _parallel(these: Bars, chance: FloatArray) -> FloatArray:
    """A stronger bar right beside it, as a thread has beside its shadow or its rim: how near, how many times as strong,
    of which light, how likely."""
    middle, length, way, seen = these.middle, these.length, these.lines.way_rad, these.profiles
    found = np.zeros((len(these), 4))
    unit = seen.off / np.maximum(seen.contrast, 1e-6)[:, None]
    for one, near in enumerate(cKDTree(middle).query_ball_point(middle, 0.7 * length + 10.0)):
        others = np.array([k for k in near if k != one], np.intp)
        along, across = offsets(middle[others], middle[one], way[one])
        width = np.maximum(seen.width_px[others], seen.width_px[one])
        good = (apart(way[others], way[one]) < 0.25) & (across < 5.0 * width + 4.0) & (along < 0.6 * length[one])
        others, nearness = others[good], np.exp(-across[good] / (2.0 * width[good] + 2.0))
        if len(others):
            best = int(np.argmax(seen.contrast[others] * nearness))
            ratio = float(np.log(seen.contrast[others[best]] / seen.contrast[one]))
            found[one] = (nearness[best], np.clip(ratio, -1.5, 2.0), float(unit[others[best]] @ unit[one]),
                          chance[others[best]])  # fmt: skip
    return found
