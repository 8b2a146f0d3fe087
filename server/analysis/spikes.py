"""Single samples that cannot be: the Hampel filter of the published coast-down procedure, with a floor.

40 CFR 1037.528 rejects a sample that lies more than 3 σ from the median of its window, σ = 1.4826 · MAD;
61 samples at 10 Hz (3 s to either side), at least 31 at the ends of the record.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from server.analysis.intervals import BoolArray
from server.testday.values import FloatArray

HALF_WINDOW_S = 3.0
SIGMAS = 3.0
MAD_TO_SIGMA = 1.4826
TREND_S = 0.5
NOISE_TIMES = 5.0
EVEN_STEP = 3.0


def hampel(values: FloatArray, half_window: int, sigmas: float = SIGMAS) -> BoolArray:
    """Which samples lie more than sigmas · 1.4826 · MAD from the median of i − half_window … i + half_window.

    values: shape (n,); the window is cut short at the ends of the record. Source: 40 CFR 1037.528.
    """
    if half_window < 1:
        raise ValueError(f"half_window must be 1 or more, got {half_window}")
    padded = np.pad(values.astype(np.float64), half_window, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half_window + 1)
    out = np.zeros(len(values), dtype=bool)
    for low in range(0, len(values), 4096):
        part = windows[low : low + 4096]
        middle = np.nanmedian(part, axis=1)
        spread = MAD_TO_SIGMA * np.nanmedian(np.abs(part - middle[:, None]), axis=1)
        out[low : low + 4096] = np.abs(values[low : low + 4096] - middle) > sigmas * spread
    return out


def find_spikes(
    time_s: FloatArray,
    values: FloatArray,
    floor: float,
    floor_per_s: float = 0.0,
    only_above: float = -np.inf,
) -> BoolArray:
    """Which samples stand out by themselves from a signal that may rise and fall.

    The Hampel rule on what a running median over half a second leaves (so that a coast-down's fall hides no
    spike), and only beyond a floor: `floor` plus floor_per_s times the spacing of the samples (what the car
    itself can do between two samples), and five times the noise of the whole record.

    time_s [s], values: shape (n,); floor in the unit of values, floor_per_s in that unit per second;
    only_above: no spike is sought where the signal itself lies lower.
    """
    n = len(values)
    if n < 7:
        return np.zeros(n, dtype=bool)
    period = float(np.median(np.diff(time_s)))
    middle = _running_median(values, max(5, _odd(TREND_S / period)))
    left = values - middle
    noise = MAD_TO_SIGMA * float(np.median(np.abs(left)))
    least = max(floor + floor_per_s * period, NOISE_TIMES * noise)
    spike = (np.abs(left) > least) & (middle > only_above)
    if not spike.any():
        return spike
    sigma = MAD_TO_SIGMA * _running_median(np.abs(left), _odd(2.0 * HALF_WINDOW_S / period))
    spike &= np.abs(left) > SIGMAS * sigma
    step = np.diff(time_s, prepend=2.0 * time_s[0] - time_s[1], append=2.0 * time_s[-1] - time_s[-2])
    return np.asarray(spike & (np.maximum(step[:-1], step[1:]) < EVEN_STEP * period))


def _running_median(values: FloatArray, samples: int) -> FloatArray:
    return np.asarray(median_filter(values, size=min(samples, _odd(len(values) - 1)), mode="nearest"))


def _odd(count: float) -> int:
    return 2 * max(1, int(count) // 2) + 1
