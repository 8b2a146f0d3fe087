"""How a line on a photo looks across and along: its width, its tone and that beside it, where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.tuft_lines import FloatArray, Lines
from server.analysis.tuft_planes import Picture, rooted

ALONG = np.linspace(-0.6, 1.6, 45)  # of the line's length: 0 one end, 1 the other
ACROSS = np.arange(-9, 10)  # in steps of the line's level
CORE = (ALONG >= 0.1) & (ALONG <= 0.9)
HALF = 0.5
END = 0.42  # the line ends where it stands off so much less than in its middle
FAR = np.abs(ACROSS) >= 5
_CHUNK = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Arrays (n, …): start, stop: the ends, in units of `ALONG`; width_px; tone, off: (n, 3) the tone of the line and
    what it stands off what is beside it, in root-light numbers; contrast: |off|; evenness: off of the fainter side
    over that of the other; filled: share of the length that stands off by half; open_start, open_stop: the line goes
    on beyond what was looked at; beside: spread of what is beside it over the contrast; flank: the strongest line
    beside, over the contrast; tip_start, tip_stop: how much stands off about either end, first, last: over the outer
    thirds, each against the middle."""

    start: FloatArray
    stop: FloatArray
    width_px: FloatArray
    tone: FloatArray
    off: FloatArray
    contrast: FloatArray
    evenness: FloatArray
    filled: FloatArray
    open_start: NDArray[np.bool_]
    open_stop: NDArray[np.bool_]
    beside: FloatArray
    flank: FloatArray
    tip_start: FloatArray
    tip_stop: FloatArray
    first: FloatArray
    last: FloatArray

    def some(self, which: NDArray[np.generic]) -> Profiles:
        """Those of an index or a mask."""
        return Profiles(*(getattr(self, name)[which] for name in self.__slots__))


def profiles(picture: Picture, found: Lines) -> Profiles:
    """Look at each line on the photo."""
    parts = [
        _look(picture, found.some(np.arange(first, min(first + _CHUNK, len(found)))))
        for first in range(0, max(len(found), 1), _CHUNK)
    ]
    return Profiles(*(np.concatenate([getattr(part, name) for part in parts]) for name in Profiles.__slots__))


def _look(picture: Picture, found: Lines) -> Profiles:
    n = np.arange(len(found))
    patch = _patch(picture, found)  # (n, along, across, 3)
    mean = patch[:, CORE].mean(axis=1)
    left, right = mean[:, ACROSS <= -5].mean(axis=1), mean[:, ACROSS >= 5].mean(axis=1)
    slope = (np.clip(ACROSS, -5, 5) + 5.0)[None, :, None] / 10.0
    base = left[:, None] * (1.0 - slope) + right[:, None] * slope
    centre = mean[:, np.abs(ACROSS) <= 1].mean(axis=1)
    off = centre - 0.5 * (left + right)
    unit = off / np.maximum(np.linalg.norm(off, axis=1), 1e-6)[:, None]
    across = np.einsum("nsc,nc->ns", mean - base, unit)
    low, high = _run(across, HALF * across[:, np.abs(ACROSS) <= 1].mean(axis=1), len(ACROSS) // 2)
    near_left, near_right = _beside(mean, low - 2, -1), _beside(mean, high + 2, 1)
    inner = (np.arange(len(ACROSS)) >= low[:, None]) & (np.arange(len(ACROSS)) <= high[:, None])
    tone = (mean * inner[..., None]).sum(axis=1) / inner.sum(axis=1)[:, None]
    off = tone - 0.5 * (near_left + near_right)
    contrast = np.linalg.norm(off, axis=1)
    unit = off / np.maximum(contrast, 1e-6)[:, None]
    sides = np.stack([np.einsum("nc,nc->n", tone - near, unit) for near in (near_left, near_right)])
    shades = np.einsum("ntsc,nc->nts", patch, unit)
    line = (shades * inner[:, None]).sum(axis=2) / inner.sum(axis=1)[:, None]
    outer_low, outer_high = np.clip(low - 2, 0, None), np.clip(high + 2, None, len(ACROSS) - 1)
    beside = 0.5 * (_around(shades, outer_low) + _around(shades, outer_high))
    stands = (line - beside) / np.maximum(contrast, 1e-6)[:, None]
    start, stop = _run(_evened(stands), np.full(len(n), END), len(ALONG) // 2)
    along = (np.arange(len(ALONG)) >= start[:, None]) & (np.arange(len(ALONG)) <= stop[:, None])
    within = along.sum(axis=1)
    filled = ((stands > HALF) & along).sum(axis=1) / within
    spread = np.sqrt(((beside - _over(beside, along)[:, None]) ** 2 * along).sum(axis=1) / within)
    away = np.abs(np.arange(len(ACROSS))[None, :] - len(ACROSS) // 2) > (high - low)[:, None] // 2 + 3
    flank = (np.abs(across - np.median(across, axis=1)[:, None]) * away).max(axis=1)
    ends = _outer(patch, start, stop, (high - low + 1) // 2)
    step = found.step.astype(float)
    return Profiles(
        ALONG[start], ALONG[stop], _width(across, low, high) * step, tone, off, contrast,
        np.min(sides, axis=0) / np.maximum(np.max(sides, axis=0), 1e-6), filled, start == 0, stop == len(ALONG) - 1,
        spread / np.maximum(contrast, 1e-6), flank / np.maximum(contrast, 1e-6), *ends,
    )  # fmt: skip


def _patch(picture: Picture, found: Lines) -> FloatArray:
    """Root-light numbers on a grid along and across each line, (n, along, across, 3); coarse levels see means."""
    c, s = np.cos(found.way_rad), np.sin(found.way_rad)
    t = (2.0 * ALONG - 1.0)[None, :, None] * found.half_px[:, None, None]
    u = ACROSS[None, None, :] * found.step[:, None, None]
    x = found.x[:, None, None] + t * c[:, None, None] - u * s[:, None, None]
    y = found.y[:, None, None] + t * s[:, None, None] + u * c[:, None, None]
    column = np.clip(np.rint(x), 0, picture.shape[1] - 1).astype(np.int32)
    row = np.clip(np.rint(y), 0, picture.shape[0] - 1).astype(np.int32)
    return rooted(picture[row, column])  # type: ignore[return-value]  # single precision is enough


def _run(values: FloatArray, least: FloatArray, middle: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last index of the unbroken run about the middle in which values are above `least`."""
    above = values > least[:, None]
    above[:, middle] = True
    up = np.argmin(np.concatenate([above[:, middle:], np.zeros((len(above), 1), bool)], axis=1), axis=1)
    down = np.argmin(np.concatenate([above[:, middle::-1], np.zeros((len(above), 1), bool)], axis=1), axis=1)
    return middle - down + 1, middle + up - 1


def _evened(stands: FloatArray) -> FloatArray:
    """The median of three neighbours, so that a crossing thread does not end a line, nor a grain prolong it."""
    padded = np.pad(stands, ((0, 0), (2, 2)), mode="edge")
    windows = np.stack([padded[:, k : k + stands.shape[1]] for k in range(5)])
    middle: FloatArray = np.median(windows, axis=0)
    return middle


def _beside(mean: FloatArray, at: NDArray[np.intp], way: int) -> FloatArray:
    """The mean of two places at and beyond an index across."""
    n, last = np.arange(len(mean)), mean.shape[1] - 1
    places = [np.clip(at + way * k, 0, last) for k in range(2)]
    both: FloatArray = 0.5 * (mean[n, places[0]] + mean[n, places[1]])
    return both


def _around(shades: FloatArray, at: NDArray[np.intp]) -> FloatArray:
    taken: FloatArray = np.take_along_axis(shades, at[:, None, None], axis=2)[..., 0]
    return taken


def _over(values: FloatArray, which: NDArray[np.bool_]) -> FloatArray:
    mean: FloatArray = (values * which).sum(axis=1) / which.sum(axis=1)
    return mean


def _width(across: FloatArray, low: NDArray[np.intp], high: NDArray[np.intp]) -> FloatArray:
    """Full width at half height, between the samples, in steps."""
    n = np.arange(len(across))
    half = HALF * across[:, np.abs(ACROSS) <= 1].mean(axis=1)

    def beyond(inner: NDArray[np.intp], outer: NDArray[np.intp]) -> FloatArray:
        a, b = across[n, inner], across[n, np.clip(outer, 0, across.shape[1] - 1)]
        part: FloatArray = np.clip((a - half) / np.where(np.abs(a - b) < 1e-6, 1.0, a - b), 0.0, 1.0)
        return part

    return high - low + beyond(high, high + 1) + beyond(low, low - 1)


def _outer(
    patch: FloatArray, start: NDArray[np.intp], stop: NDArray[np.intp], half: NDArray[np.intp]
) -> tuple[FloatArray, ...]:
    """Colour that stands off over the width: strongest about the first and last end, mean of the outer thirds; each
    over that of the middle. Tape at a root may have any colour, so all three channels count."""
    beside = 0.5 * (patch[:, :, :2].mean(axis=2) + patch[:, :, -2:].mean(axis=2))
    off = np.linalg.norm(patch - beside[:, :, None], axis=3)
    grain = 0.5 * (off[:, :, :2].mean(axis=2) + off[:, :, -2:].mean(axis=2))
    near = np.abs(np.arange(len(ACROSS)) - len(ACROSS) // 2)[None, None, :] <= half[:, None, None] + 2
    mass = (np.clip(off - grain[..., None], 0.0, None) * near).sum(axis=2)
    mass[:, 1:-1] = (mass[:, :-2] + mass[:, 1:-1] + mass[:, 2:]) / 3.0
    place = (np.arange(len(ALONG))[None, :] - start[:, None]) / np.maximum(stop - start, 1)[:, None]

    def told(low: float, high: float, most: bool) -> FloatArray:
        which = (place >= low) & (place <= high)
        mean: FloatArray = (mass * which).sum(axis=1) / np.maximum(which.sum(axis=1), 1)
        return np.asarray((mass * which).max(axis=1)) if most else mean

    middle = np.maximum(told(0.3, 0.7, False), 1e-6)
    return tuple(
        told(*where) / middle
        for where in ((-0.2, 0.15, True), (0.85, 1.2, True), (0.05, 0.35, False), (0.65, 0.95, False))
    )
