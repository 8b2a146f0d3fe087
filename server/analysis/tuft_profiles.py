"""How a line on a photo looks across and along: its width, its tone and that beside it, where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.tuft_ends import ACROSS, ALONG, CORE, Indices, ends, mass_along, outer, over, run, within
from server.analysis.tuft_lines import FloatArray, Lines
from server.analysis.tuft_planes import Picture, rooted
from server.analysis.tuft_sides import Beside, beside, ends_of_both, sides

HALF = 0.5
_SAME_ENDS = 1  # places along, both ends together
_CHUNK = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Arrays (n, …): start, stop: the ends, in units of `ALONG`; width_px; tone, off: (n, 3) the tone of the line and
    what it stands off what is beside it, in root-light numbers; contrast: |off|; evenness: off of the fainter side
    over that of the other; filled: share of the length that stands off by half; open_start, open_stop: the line goes
    on beyond what was looked at; beside: spread of what is beside it over the contrast; flank: the strongest line
    beside, over the contrast; tip_start, tip_stop: how much stands off about either end, first, last: over the outer
    thirds, each against the middle; sides: (n, len(SIDES)), place by place against what is beside it."""

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
    sides: FloatArray

    def some(self, which: NDArray[np.generic]) -> Profiles:
        """Those of an index or a mask."""
        return Profiles(*(getattr(self, name)[which] for name in self.__slots__))


def profiles(picture: Picture, found: Lines) -> tuple[Profiles, Indices]:
    """Look at each line on the photo; which line each profile is of: a line whose ends may be in two places has two."""
    parts = [
        _look(picture, found.some(np.arange(first, min(first + _CHUNK, len(found)))), first)
        for first in range(0, max(len(found), 1), _CHUNK)
    ]
    return _joined([part for part, _ in parts]), np.concatenate([of for _, of in parts])


def _joined(parts: list[Profiles]) -> Profiles:
    return Profiles(*(np.concatenate([getattr(part, name) for part in parts]) for name in Profiles.__slots__))


def _look(picture: Picture, found: Lines, first: int) -> tuple[Profiles, Indices]:
    """Once for the ends where a line's light ceases to stand off, once more for those where either side's does."""
    patch = _patch(picture, found)  # (n, along, across, 3)
    across, low, high = _across(patch)
    seen = beside(patch, low, high)
    tone, off, evenness = _tones(patch, low, high)
    contrast = np.linalg.norm(off, axis=1)
    least = np.maximum(contrast, 1e-6)
    shades = np.einsum("ntsc,nc->nts", patch, (off / least[:, None]).astype(np.float32))
    inner = (np.arange(len(ACROSS)) >= low[:, None]) & (np.arange(len(ACROSS)) <= high[:, None])
    line = (shades * inner[:, None]).sum(axis=2) / inner.sum(axis=1)[:, None]
    by = 0.5 * (_around(shades, np.clip(low - 2, 0, None)) + _around(shades, np.clip(high + 2, None, len(ACROSS) - 1)))
    stands = (line - by) / least[:, None]
    mass = mass_along(patch, (high - low + 1) // 2)
    away = np.abs(np.arange(len(ACROSS))[None, :] - len(ACROSS) // 2) > (high - low)[:, None] // 2 + 3
    flank = (np.abs(across - np.median(across, axis=1)[:, None]) * away).max(axis=1)
    width = _width(across, low, high) * found.step

    def told(which: Indices, start: Indices, stop: Indices) -> Profiles:
        along = within(start, stop)
        tips = outer(mass[which], start, stop)
        some = Beside(seen.line[which], seen.left[which], seen.right[which], seen.both[which])
        return Profiles(
            ALONG[start], ALONG[stop], width[which], tone[which], off[which], contrast[which], evenness[which],
            over((stands[which] > HALF).astype(float), along), start == 0, stop == len(ALONG) - 1,
            np.sqrt(over((by[which] - over(by[which], along)[:, None]) ** 2, along)) / least[which],
            flank[which] / least[which], *tips, sides(some, start, stop, contrast[which]),
        )  # fmt: skip

    every, one, two = np.arange(len(found)), ends(stands), ends_of_both(seen)
    other = np.nonzero(np.abs(one[0] - two[0]) + np.abs(one[1] - two[1]) > _SAME_ENDS)[0]
    both = _joined([told(every, *one), told(other, two[0][other], two[1][other])])
    return both, first + np.concatenate([every, other])


def _across(patch: FloatArray) -> tuple[FloatArray, Indices, Indices]:
    """The mean light across a line, above what is to either side, and from where to where it is the line's."""
    mean = patch[:, CORE].mean(axis=1)
    left, right = mean[:, ACROSS <= -5].mean(axis=1), mean[:, ACROSS >= 5].mean(axis=1)
    slope = (np.clip(ACROSS, -5, 5) + 5.0)[None, :, None] / 10.0
    base = left[:, None] * (1.0 - slope) + right[:, None] * slope
    off = mean[:, np.abs(ACROSS) <= 1].mean(axis=1) - 0.5 * (left + right)
    unit = off / np.maximum(np.linalg.norm(off, axis=1), 1e-6)[:, None]
    across = np.einsum("nsc,nc->ns", mean - base, unit)
    return across, *run(across, HALF * across[:, np.abs(ACROSS) <= 1].mean(axis=1), len(ACROSS) // 2)


def _tones(patch: FloatArray, low: Indices, high: Indices) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Tone of a line, what it stands off, and how evenly off either side."""
    mean = patch[:, CORE].mean(axis=1)
    inner = (np.arange(len(ACROSS)) >= low[:, None]) & (np.arange(len(ACROSS)) <= high[:, None])
    near = _beside(mean, low - 2, -1), _beside(mean, high + 2, 1)
    tone = (mean * inner[..., None]).sum(axis=1) / inner.sum(axis=1)[:, None]
    off = tone - 0.5 * (near[0] + near[1])
    unit = off / np.maximum(np.linalg.norm(off, axis=1), 1e-6)[:, None]
    by_side = np.stack([np.einsum("nc,nc->n", tone - each, unit) for each in near])
    return tone, off, np.min(by_side, axis=0) / np.maximum(np.max(by_side, axis=0), 1e-6)


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


def _beside(mean: FloatArray, at: NDArray[np.intp], way: int) -> FloatArray:
    """The mean of two places at and beyond an index across."""
    n, last = np.arange(len(mean)), mean.shape[1] - 1
    places = [np.clip(at + way * k, 0, last) for k in range(2)]
    both: FloatArray = 0.5 * (mean[n, places[0]] + mean[n, places[1]])
    return both


def _around(shades: FloatArray, at: NDArray[np.intp]) -> FloatArray:
    taken: FloatArray = np.take_along_axis(shades, at[:, None, None], axis=2)[..., 0]
    return taken


def _width(across: FloatArray, low: NDArray[np.intp], high: NDArray[np.intp]) -> FloatArray:
    """Full width at half height, between the samples, in steps."""
    n = np.arange(len(across))
    half = HALF * across[:, np.abs(ACROSS) <= 1].mean(axis=1)

    def beyond(inner: NDArray[np.intp], outer: NDArray[np.intp]) -> FloatArray:
        a, b = across[n, inner], across[n, np.clip(outer, 0, across.shape[1] - 1)]
        part: FloatArray = np.clip((a - half) / np.where(np.abs(a - b) < 1e-6, 1.0, a - b), 0.0, 1.0)
        return part

    return high - low + beyond(high, high + 1) + beyond(low, low - 1)


