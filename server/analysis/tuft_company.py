"""A second look at each bar beside the photo's sure tufts: is it as long, wide and light as they are, and among them?

What lies about a car can look like a tuft, and rarely like the tufts of its photo, which are cut from one or two rolls.
Where a bar points against its neighbours does not count: a tuft that turns across or against the flow is looked for.
"""

from __future__ import annotations

import numpy as np

from server.analysis.tuft_candidates import Bars
from server.analysis.tuft_judging import FEATURES
from server.analysis.tuft_lines import FloatArray, IntArray

COMPANY = ("unlike", "company", "fainter", "other_length")
SURE_FROM = 0.8  # at the first look
LEAST_SURE = 4
_NO_COMPANY = (1.5, 0.0, 0.0, 0.0)
_LENGTH, _WIDTH, _OFF, _TONE = 0.25, 0.3, 35.0, 60.0  # by how much tufts of one roll differ: logarithms, levels
_SHARE = 4  # a quarter of the sure ones are held against it: a photo has tufts of two rolls
_AROUND = 3.0  # lengths

# Logistic regression over the bars of 74 made-up photos, seeds 2,720,001 to 2,720,074.
_CONSTANT = 3.01
_WEIGHTS: dict[str, float] = {
    "evenness": 1.79, "aspect": 0.24, "thinness": -3.05, "filled": 0.22, "beside": 0.42,
    "flank": -0.94, "open": -1.26, "crowd": -0.49, "alike": 0.49, "over_texture": 1.69,
    "covered": 2.18, "bent": -1.32, "ends_unlike": 0.19, "contrast": 0.45, "touching": -0.79,
    "continued": -0.33, "unlike": -2.70, "company": 0.20, "fainter": -0.32, "other_length": -3.12,
}  # fmt: skip


def second_look(these: Bars, told: FloatArray, chance: FloatArray) -> FloatArray:
    """That a bar is a tuft, from its own features (n, len(FEATURES)) and from the company that it is in."""
    odds = _CONSTANT + told @ np.array([_WEIGHTS[name] for name in FEATURES])
    odds = odds + company(these, chance) @ np.array([_WEIGHTS[name] for name in COMPANY])
    found: FloatArray = 1.0 / (1.0 + np.exp(-odds))
    return found


def company(these: Bars, chance: FloatArray) -> FloatArray:
    """How a bar stands to the sure ones, (n, len(COMPANY)): how unlike it is to the quarter that it is most like; how
    many are around; how much fainter, and how much shorter or longer it is than the middle one (logarithms)."""
    sure = np.nonzero(chance >= SURE_FROM)[0]
    if len(sure) < LEAST_SURE:
        return np.tile(np.array(_NO_COMPANY), (len(these), 1))
    looks, middle, length = _looks(these), these.middle, float(np.median(these.length[sure]))
    rows = [_row(looks, sure[sure != one], one, middle, _AROUND * length) for one in range(len(these))]
    usual = float(np.median(these.profiles.contrast[sure]))
    fainter = np.clip(np.log(np.maximum(these.profiles.contrast, 1e-6) / usual), -2.0, 1.0)
    return np.column_stack([np.array(rows), fainter, np.abs(np.log(these.length / length))])


def _looks(these: Bars) -> FloatArray:
    seen = these.profiles
    size = np.stack([np.log(these.length) / _LENGTH, np.log(seen.width_px) / _WIDTH], axis=1)
    return np.concatenate([size, seen.off / _OFF, seen.tone / _TONE], axis=1)


def _row(
    looks: FloatArray, others: IntArray, one: int, middle: FloatArray, around: float
) -> tuple[float, float]:
    unlike = np.sqrt(((looks[others] - looks[one]) ** 2).sum(axis=1))
    count = min(len(others), max(3, len(others) // _SHARE))
    away = np.hypot(*(middle[others] - middle[one]).T)
    most_like = np.partition(unlike, count - 1)[:count]
    return float(np.log(0.5 + most_like.mean())), float(np.clip((away < around).sum(), 0, 12))
