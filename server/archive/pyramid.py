"""Least and greatest of ever larger buckets of samples: what a screen needs of a long trace.

Level k has buckets of 64^k samples. Values that are no numbers are passed over; a bucket of nothing else is
no number itself, so a gap stays a gap.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FACTOR = 64
LEAST_BUCKETS = 256


def lowest(values: FloatArray, size: int) -> FloatArray:
    """Least of each `size` values in a row, the last bucket with what is left. Shapes (n,) → (⌈n/size⌉,)."""
    return _reduced(np.minimum, np.fmin, values, size)


def highest(values: FloatArray, size: int) -> FloatArray:
    """Greatest of each `size` values in a row, the last bucket with what is left. Shapes (n,) → (⌈n/size⌉,)."""
    return _reduced(np.maximum, np.fmax, values, size)


def levels(values: FloatArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Least and greatest of the buckets of each level, finest first, while a level has enough of them."""
    low = high = values
    while -(-len(low) // FACTOR) >= LEAST_BUCKETS:
        low, high = lowest(low, FACTOR), highest(high, FACTOR)
        yield low, high


def _reduced(quick: np.ufunc, passing: np.ufunc, values: FloatArray, size: int) -> FloatArray:
    """Each bucket by the quick function; by the one that passes over what is no number where there is such."""
    if size == 1 or not len(values):
        return values
    starts = np.arange(0, len(values), size)
    out: FloatArray = quick.reduceat(values, starts)
    return passing.reduceat(values, starts) if np.isnan(out).any() else out
