"""By how much the picture moved between frames of one view: a camera held by hand shifts, rolls, comes nearer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from server.analysis.tuft_planes import as_picture, halved, rooted
from server.testday.tufts import TuftMark

FloatArray = NDArray[np.float64]
LEAST_ENDS = 8  # matched ends from which roll and size are told, too
FARTHEST = 0.35  # of a tuft's length: ends no further apart after the shift may be one
WIDEST_STRETCH = 0.15  # of turn and size between frames that are of one view
_SHIFT_SIDE = 512
_ROUNDS = 12
_LEAST_SCALE_PX = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """Places of a frame from those of the first frame: q = linear p + offset [px]; ends: how many told it."""

    linear: FloatArray
    offset: FloatArray
    ends: int = 0

    def back(self, places: FloatArray) -> FloatArray:
        """Places of the frame as they are on the first one."""
        return np.asarray(np.linalg.solve(self.linear, (places - self.offset).T).T, np.float64)


def shifted(dx: float, dy: float) -> Move:
    """A move that is a shift alone."""
    return Move(np.eye(2), np.array([dx, dy]))


def shift_between(first: NDArray[np.generic], other: NDArray[np.generic]) -> tuple[float, float]:
    """By how much a frame's picture moved against the first's, (x, y) [px], from a camera held by hand.

    Phase correlation: the peak of F⁻¹(A* B/|A* B|), of pictures made small, between the samples by a parabola.
    Source: C. D. Kuglin, D. C. Hines, Proc. IEEE Cybernetics and Society (1975) 163 (from memory).
    """
    return shift_of_small(small_frame(first), small_frame(other))


def small_frame(picture: NDArray[np.generic]) -> tuple[FloatArray, int]:
    """A frame as phase correlation sees it, and the width of its pixels: what is kept while others are opened."""
    plane, step = rooted(as_picture(picture)[..., 1]), 1
    while max(plane.shape) > 2 * _SHIFT_SIDE:
        plane, step = halved(plane), step * 2
    return np.asarray(plane, np.float64) - float(plane.mean()), step


def shift_of_small(first: tuple[FloatArray, int], other: tuple[FloatArray, int]) -> tuple[float, float]:
    """The shift between two frames made small. Raises ValueError where they differ in size."""
    if first[0].shape != other[0].shape:
        raise ValueError("first, other: frames of one size")
    one, two = (np.fft.rfft2(plane * _window(plane.shape)) for plane, _ in (first, other))
    cross = np.conj(one) * two
    peak = np.fft.irfft2(cross / np.maximum(np.abs(cross), 1e-9), s=first[0].shape)
    row, column = np.unravel_index(int(peak.argmax()), peak.shape)
    dy, dx = (_between(peak, (int(row), int(column)), axis) for axis in (0, 1))
    return dx * first[1], dy * first[1]


def _window(shape: tuple[int, ...]) -> FloatArray:
    return np.outer(np.hanning(shape[0]), np.hanning(shape[1]))


def _between(peak: FloatArray, at: tuple[int, int], axis: int) -> float:
    size = peak.shape[axis]
    low, middle, high = (
        float(peak[tuple((at[k] + (step if k == axis else 0)) % peak.shape[k] for k in (0, 1))]) for step in (-1, 0, 1)
    )
    bend = low - 2.0 * middle + high
    part = 0.5 * (low - high) / bend if abs(bend) > 1e-12 else 0.0
    place = at[axis] + max(-0.5, min(part, 0.5))
    return place - size if place > size / 2 else place


def moved_by(shift: tuple[float, float], first: Sequence[TuftMark], other: Sequence[TuftMark]) -> Move:
    """The move q = A p + b from the shift found, made better by the tufts' own ends.

    Each end on the first frame is paired with the nearest on the other after the move found last; A and b by least
    squares with weights 1/(1 + (r/s)²), s from the middle of the residuals: ends that stay (roots, and tufts that hold
    still) agree on one move, loose ends that swing agree on none.
    """
    plain = shifted(*shift)
    p, q = (np.concatenate([ends_of(marks), np.zeros((0, 2))]) for marks in (first, other))
    if min(len(p), len(q)) < LEAST_ENDS:
        return plain
    reach = FARTHEST * float(np.median([mark.length_px or 0.0 for mark in first]))
    middle, tree, move = p.mean(axis=0), cKDTree(q), plain
    for _ in range(_ROUNDS):
        far, near = (np.asarray(each) for each in tree.query(p @ move.linear.T + move.offset))
        good = np.asarray(far <= reach)
        if good.sum() < LEAST_ENDS:
            return plain
        rest = np.maximum(far[good] / max(1.5 * float(np.median(far[good])), _LEAST_SCALE_PX), 0.0)
        weight = np.sqrt(1.0 / (1.0 + rest**2))[:, None]
        columns = np.column_stack([p[good] - middle, np.ones(good.sum())])
        found, *_ = np.linalg.lstsq(columns * weight, q[near[good]] * weight, rcond=None)
        linear = found[:2].T
        move = Move(linear, found[2] - linear @ middle, int(good.sum()))
    return move if float(np.abs(move.linear - np.eye(2)).max()) < WIDEST_STRETCH else plain


def ends_of(marks: Sequence[TuftMark]) -> FloatArray:
    """Both ends of each mark, the roots first, (2 n, 2) [px]."""
    if not marks:
        return np.zeros((0, 2))
    root = np.array([(mark.x_px, mark.y_px) for mark in marks])
    way = np.array([mark.direction_rad or 0.0 for mark in marks])
    length = np.array([mark.length_px or 0.0 for mark in marks])
    return np.concatenate([root, root + length[:, None] * np.stack([np.cos(way), np.sin(way)], axis=1)])
