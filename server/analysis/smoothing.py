"""Means and slopes over a short time, on an even grid."""

from __future__ import annotations

import numpy as np

from server.testday.values import FloatArray, Signal


def smoothed(signal: Signal, width_s: float) -> FloatArray:
    """Running mean over width_s, shape (n,); the ends are means of what is there."""
    period = float(np.median(np.diff(signal.time_s)))
    width = max(1, round(width_s / period))
    if width == 1:
        return signal.values
    weight = np.ones(width)
    total = np.convolve(signal.values, weight, mode="same")[: len(signal.values)]
    return np.asarray(total / np.convolve(np.ones(len(signal.values)), weight, mode="same"))


def slopes(values: FloatArray, step_s: float, width_s: float) -> FloatArray:
    """Least-squares slope over width_s about every value of an even grid, per second; shape (n,)."""
    half = max(1, round(0.5 * width_s / step_s))
    offset = np.arange(-half, half + 1) * step_s
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.convolve(padded, offset[::-1], mode="valid") / np.sum(offset**2))
