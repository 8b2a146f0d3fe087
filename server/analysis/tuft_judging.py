"""Which bars on a photo are tufts: a first look at how each looks by itself, along it, beside it and at its ends."""

from __future__ import annotations

import numpy as np

from server.analysis.tuft_candidates import Bars
from server.analysis.tuft_lines import FloatArray
from server.analysis.tuft_sides import SIDES
from server.analysis.tuft_weights import judged

FEATURES = (
    *("evenness", "short", "long", "very_long", "filled", "beside", "flank", "open", "over_texture", "covered"),
    *("bent", "contrast", "ends_unlike", "tip_most", "tip_least", "width", "chroma"),
    *SIDES,
)

_ASPECTS = ((2.0, 9.0), (9.0, 16.0), (16.0, 40.0))


def features(these: Bars) -> FloatArray:
    """What a bar is judged by at the first look, (n, len(FEATURES)).

    A size in pixels is none, but for how thin a thread is: photos are taken from near and from far.
    """
    seen, found = these.profiles, these.lines
    aspect = these.length / np.maximum(seen.width_px, 0.5)
    unlike = sum(np.abs(np.log(np.clip(end, 0.2, 5.0))) for end in (seen.first, seen.last))
    tips = np.sort(np.clip(np.stack([seen.tip_start, seen.tip_stop]), 0.0, 3.0), axis=0)
    own = np.stack([
        np.clip(seen.evenness, 0.0, 1.0), *(np.log(np.clip(aspect, *of)) for of in _ASPECTS),
        np.clip(seen.filled, 0.0, 1.0), np.clip(seen.beside, 0.0, 1.0), np.clip(seen.flank, 0.0, 1.2),
        these.opens.astype(float), np.log(np.clip(found.over_texture, 2.8, 30.0)), these.covered,
        np.clip(found.aside_px / found.step, 0.0, 2.0), np.log(np.clip(seen.contrast, 5.0, 100.0)), unlike,
        tips[1], tips[0], np.log(np.clip(seen.width_px, 1.0, 6.0)), found.chroma.astype(float),
    ], axis=1)  # fmt: skip
    return np.concatenate([own, seen.sides], axis=1)


def first_look(told: FloatArray) -> FloatArray:
    """Logarithms of the odds that a bar is a tuft from end to end, from its features (n, len(FEATURES))."""
    return judged("first", told)
