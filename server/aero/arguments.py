"""How the physics takes its arguments: numbers or arrays in, float arrays out, nonsense refused by name."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def floats(*values: ArrayLike) -> tuple[FloatArray, ...]:
    """Each argument as a float array; shapes may be anything that broadcasts together."""
    return tuple(np.asarray(value, dtype=np.float64) for value in values)


def require_positive(**quantities: ArrayLike) -> None:
    """Raise ValueError naming the first quantity that is not wholly finite and above zero."""
    for name, value in quantities.items():
        array = np.asarray(value, dtype=np.float64)
        if not np.all(np.isfinite(array) & (array > 0.0)):
            raise ValueError(f"{name} must be above zero, got {value!r}")


def require_not_negative(**quantities: ArrayLike) -> None:
    """Raise ValueError naming the first quantity that is not wholly finite and zero or above."""
    for name, value in quantities.items():
        array = np.asarray(value, dtype=np.float64)
        if not np.all(np.isfinite(array) & (array >= 0.0)):
            raise ValueError(f"{name} must be zero or above, got {value!r}")


def require_between(low: float, high: float, **quantities: ArrayLike) -> None:
    """Raise ValueError naming the first quantity that leaves [low, high]."""
    for name, value in quantities.items():
        array = np.asarray(value, dtype=np.float64)
        if not np.all((array >= low) & (array <= high)):
            raise ValueError(f"{name} must lie between {low:g} and {high:g}, got {value!r}")
