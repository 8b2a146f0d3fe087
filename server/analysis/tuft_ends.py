"""Where a line on a photo ends: the stretch that stands off, by two rules, and what is at either end of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Indices = NDArray[np.intp]

ALONG = np.linspace(-0.6, 1.6, 45)  # of the line's length: 0 one end, 1 the other
ACROSS = np.arange(-9, 10)  # in steps of the line's level
CORE = (ALONG >= 0.1) & (ALONG <= 0.9)
END = 0.42  # the line ends where it stands off so much less than in its middle


def run(values: FloatArray, least: FloatArray, middle: int) -> tuple[Indices, Indices]:
    """First and last index of the unbroken run about the middle in which values are above `least`."""
    above = values > least[:, None]
    above[:, middle] = True
    up = np.argmin(np.concatenate([above[:, middle:], np.zeros((len(above), 1), bool)], axis=1), axis=1)
    down = np.argmin(np.concatenate([above[:, middle::-1], np.zeros((len(above), 1), bool)], axis=1), axis=1)
    return middle - down + 1, middle + up - 1


def ends(stands: FloatArray) -> tuple[Indices, Indices]:
    """Where what stands off, 1 in its middle, ceases to.

    The median of five neighbours counts, so that a crossing thread does not end a line, nor a grain prolong it.
    """
    padded = np.pad(stands, ((0, 0), (2, 2)), mode="edge")
    windows = np.stack([padded[:, k : k + stands.shape[1]] for k in range(5)])
    middle: FloatArray = np.median(windows, axis=0)
    return run(middle, np.full(len(stands), END), len(ALONG) // 2)


def within(start: Indices, stop: Indices) -> NDArray[np.bool_]:
    """Which places along lie between the ends, (n, along)."""
    place = np.arange(len(ALONG))
    found: NDArray[np.bool_] = (place >= start[:, None]) & (place <= stop[:, None])
    return found


def over(values: FloatArray, which: NDArray[np.bool_]) -> FloatArray:
    """The mean of those places along, (n, along) or (n, along, channels)."""
    which = which if values.ndim == 2 else which[..., None]
    mean: FloatArray = (values * which).sum(axis=1) / which.sum(axis=1)
    return mean


def size(colours: FloatArray) -> FloatArray:
    """Lengths along the last axis; several times as fast as the library's norm."""
    found: FloatArray = np.sqrt(np.einsum("...c,...c->...", colours, colours))
    return found


def mass_along(patch: FloatArray, half: Indices) -> FloatArray:
    """How much stands off across each place along, (n, along).

    Tape at a root may have any colour, so all three channels count.
    """
    beside = 0.5 * (patch[:, :, :2].mean(axis=2) + patch[:, :, -2:].mean(axis=2))
    off = size(patch - beside[:, :, None])
    grain = 0.5 * (off[:, :, :2].mean(axis=2) + off[:, :, -2:].mean(axis=2))
    near = np.abs(np.arange(len(ACROSS)) - len(ACROSS) // 2)[None, None, :] <= half[:, None, None] + 2
    mass: FloatArray = (np.clip(off - grain[..., None], 0.0, None) * near).sum(axis=2)
    mass[:, 1:-1] = (mass[:, :-2] + mass[:, 1:-1] + mass[:, 2:]) / 3.0
    return mass


def outer(
    mass: FloatArray, start: Indices, stop: Indices
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What stands off strongest about the first and last end, and in the mean over the outer thirds; each over that of
    the middle."""
    place = (np.arange(len(ALONG))[None, :] - start[:, None]) / np.maximum(stop - start, 1)[:, None]

    def told(low: float, high: float, most: bool) -> FloatArray:
        which = (place >= low) & (place <= high)
        mean: FloatArray = (mass * which).sum(axis=1) / np.maximum(which.sum(axis=1), 1)
        return np.asarray((mass * which).max(axis=1)) if most else mean

    middle = np.maximum(told(0.3, 0.7, False), 1e-6)
    tips = told(-0.2, 0.15, True) / middle, told(0.85, 1.2, True) / middle
    return *tips, told(0.05, 0.35, False) / middle, told(0.65, 0.95, False) / middle
