"""Tufts over frames of a burst and beside a photo without flow: mean direction, unsteadiness, which end stays, and a
condition proposed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.analysis.tuft_planes import as_picture, halved, rooted
from server.inference.circular import CircularMean, circular_mean, difference, wrapped
from server.testday.tufts import Condition, TuftMark

# Circular standard deviation of a tuft's direction over frames (common practice, no source).
STEADY_RAD = math.radians(10.0)
UNSTEADY_RAD = math.radians(30.0)
REVERSED_RAD = math.radians(90.0)  # turned so far from the flow around (common practice, no source)
SAME_AS_STILL_RAD = math.radians(8.0)  # hangs as it does without flow (common practice, no source)
LEAST_FRAMES = 3
_NEAR = 0.5  # of a tuft's length: frames' middles no further apart are one tuft
_STAYS = 3.0  # the loose end wanders at least so many times as far (variance)
_SHIFT_SIDE = 512
_STILL_CONFIDENCE = 0.9


@dataclass(frozen=True, slots=True)
class BurstTuft:
    """One tuft over frames: a mark with its mean direction and spread on the first frame, and how it was reached."""

    mark: TuftMark
    told: CircularMean
    frames: int


def shift_between(first: NDArray[np.generic], other: NDArray[np.generic]) -> tuple[float, float]:
    """By how much a frame's picture moved against the first's, (x, y) [px], from a camera held by hand.

    Phase correlation: the peak of F⁻¹(A* B/|A* B|), of pictures made small, between the samples by a parabola.
    Source: C. D. Kuglin, D. C. Hines, Proc. IEEE Cybernetics and Society (1975) 163 (from memory).
    """
    small, step = zip(*(_small(picture) for picture in (first, other)), strict=True)
    if small[0].shape != small[1].shape:
        raise ValueError("first, other: frames of one size")
    one, two = (np.fft.rfft2(plane * _window(plane.shape)) for plane in small)
    cross = np.conj(one) * two
    peak = np.fft.irfft2(cross / np.maximum(np.abs(cross), 1e-9), s=small[0].shape)
    row, column = np.unravel_index(int(peak.argmax()), peak.shape)
    dy, dx = (_between(peak, (int(row), int(column)), axis) for axis in (0, 1))
    return dx * step[0], dy * step[0]


def _small(picture: NDArray[np.generic]) -> tuple[NDArray[np.float64], int]:
    plane, step = rooted(as_picture(picture)[..., 1]), 1
    while max(plane.shape) > 2 * _SHIFT_SIDE:
        plane, step = halved(plane), step * 2
    return np.asarray(plane, np.float64) - float(plane.mean()), step


def _window(shape: tuple[int, ...]) -> NDArray[np.float64]:
    return np.outer(np.hanning(shape[0]), np.hanning(shape[1]))


def _between(peak: NDArray[np.float64], at: tuple[int, int], axis: int) -> float:
    size = peak.shape[axis]
    low, middle, high = (
        float(peak[tuple((at[k] + (step if k == axis else 0)) % peak.shape[k] for k in (0, 1))]) for step in (-1, 0, 1)
    )
    bend = low - 2.0 * middle + high
    part = 0.5 * (low - high) / bend if abs(bend) > 1e-12 else 0.0
    place = at[axis] + max(-0.5, min(part, 0.5))
    return place - size if place > size / 2 else place


def burst_tufts(
    frames: Sequence[Sequence[TuftMark]], shifts_px: Sequence[tuple[float, float]]
) -> tuple[BurstTuft, ...]:
    """Tufts found in at least `LEAST_FRAMES` frames; frames: marks of each, the first one leads; shifts_px: each
    frame's picture against the first's."""
    if len(frames) != len(shifts_px):
        raise ValueError("shifts_px: one of each frame")
    moved = [
        [replace(m, x_px=m.x_px - dx, y_px=m.y_px - dy) for m in marks]
        for marks, (dx, dy) in zip(frames, shifts_px, strict=True)
    ]
    free = [list(marks) for marks in moved]
    found = []
    for marks in free:
        while marks:
            group = [marks.pop(0)]
            for other in free:
                if other is not marks and (near := _nearest(group[0], other)) is not None:
                    group.append(other.pop(near))
            if len(group) >= LEAST_FRAMES:
                found.append(_told(group))
    return tuple(found)


def _ends(mark: TuftMark) -> tuple[complex, complex]:
    root = complex(mark.x_px, mark.y_px)
    way = mark.direction_rad or 0.0
    return root, root + (mark.length_px or 0.0) * complex(math.cos(way), math.sin(way))


def _nearest(mark: TuftMark, others: Sequence[TuftMark]) -> int | None:
    middle = sum(_ends(mark)) / 2
    reach = _NEAR * (mark.length_px or 0.0)
    gaps = [abs(sum(_ends(other)) / 2 - middle) for other in others]
    best = min(range(len(gaps)), key=gaps.__getitem__, default=None)
    return best if best is not None and gaps[best] <= reach else None


def _told(group: Sequence[TuftMark]) -> BurstTuft:
    """Frames of one tuft turned the same way round; the end that wanders less is the root."""
    first = group[0]
    ends = []
    for mark in group:
        root, tip = _ends(mark)
        turned = abs(difference(mark.direction_rad or 0.0, first.direction_rad or 0.0)) > 0.5 * math.pi
        ends.append((tip, root) if turned else (root, tip))
    places = np.array(ends)
    spread = [float(np.mean(np.abs(places[:, k] - places[:, k].mean()) ** 2)) for k in (0, 1)]
    swapped = spread[0] > spread[1]
    stays = max(spread) > _STAYS * max(min(spread), 1e-9) and max(spread) > 4.0
    if stays and swapped:
        places = places[:, ::-1]
    told = circular_mean(np.angle(places[:, 1] - places[:, 0]))
    known = [m for m in group if m.direction_settled_by is not None]
    how = "burst" if stays else known[0].direction_settled_by if known else None
    sure = _confidence(max(spread) / max(min(spread), 1e-9), len(group)) if stays else first.settled_confidence
    root = complex(places[:, 0].mean())
    u = told.spread_rad / math.sqrt(len(group)) if math.isfinite(told.spread_rad) else math.pi
    mark = replace(
        first, x_px=root.real, y_px=root.imag, direction_rad=told.mean_rad, spread_rad=told.spread_rad,
        direction_u_rad=math.hypot(u, first.direction_u_rad or 0.0), direction_settled_by=how, settled_confidence=sure,
    )  # fmt: skip
    return BurstTuft(mark, told, len(group))


def _confidence(ratio: float, frames: int) -> float:
    """That the end which wanders less is the root: F of two variances of 2 (n − 1) degrees of freedom each."""
    from scipy.stats import f

    dof = 2 * (frames - 1)
    return float(1.0 - f.sf(ratio, dof, dof))


def beside_still(marks: Sequence[TuftMark], still: Sequence[TuftMark]) -> tuple[tuple[TuftMark, float | None], ...]:
    """Each mark with the direction that the same tuft has without flow, both of one view; None where it is not found.

    The end that both share is the root: it settles marks whose ends nothing else told apart.
    """
    return tuple(_beside(mark, still) for mark in marks)


def _beside(mark: TuftMark, still: Sequence[TuftMark]) -> tuple[TuftMark, float | None]:
    best: tuple[float, bool, TuftMark, bool] | None = None
    ends = _ends(mark)
    for other in still:
        gaps = [(abs(a - b), i == 1, other, j == 1) for i, a in enumerate(ends) for j, b in enumerate(_ends(other))]
        near = min(gaps, key=lambda gap: gap[0])
        best = near if best is None or near[0] < best[0] else best
    if best is None or best[0] > 0.25 * (mark.length_px or 0.0):
        return mark, None
    _, at_tip, other, other_at_tip = best
    still_rad = float(wrapped((other.direction_rad or 0.0) + (math.pi if other_at_tip else 0.0)))
    own = float(wrapped((mark.direction_rad or 0.0) + (math.pi if at_tip else 0.0)))
    if mark.direction_settled_by is not None or abs(difference(own, still_rad)) < math.radians(25.0):
        return mark, still_rad
    root = ends[1] if at_tip else ends[0]
    settled = replace(
        mark, x_px=root.real, y_px=root.imag, direction_rad=own, direction_settled_by="no-flow",
        settled_confidence=_STILL_CONFIDENCE,
    )  # fmt: skip
    return settled, still_rad


def proposed_condition(
    spread_rad: float | None,
    direction_rad: float | None,
    flow_rad: float | None = None,
    still_rad: float | None = None,
) -> Condition | None:
    """A condition for a person to accept: reversed against the flow around, separated where it swings widely or hangs
    as it does without flow, unsteady or attached by its spread; None where nothing tells.

    spread_rad: circular standard deviation over frames; flow_rad: of the flow around it; still_rad: its direction on a
    photo without flow. Thresholds: `STEADY_RAD`, `UNSTEADY_RAD`, `REVERSED_RAD`, `SAME_AS_STILL_RAD`.
    """
    if spread_rad is not None and spread_rad > UNSTEADY_RAD:
        return "separated"
    if direction_rad is not None and flow_rad is not None and abs(wrapped(direction_rad - flow_rad)) > REVERSED_RAD:
        return "reversed"
    if direction_rad is not None and still_rad is not None:
        along = flow_rad is not None and abs(wrapped(still_rad - flow_rad)) < 2.0 * SAME_AS_STILL_RAD
        if abs(wrapped(direction_rad - still_rad)) < SAME_AS_STILL_RAD and not along:
            return "separated"
    if spread_rad is None:
        return None
    return "unsteady" if spread_rad > STEADY_RAD else "attached"
