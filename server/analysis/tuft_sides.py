"""A line's tone place by place against what is beside it there: a thread keeps its tone over whatever it lies on, and
stands off on both sides; a step of tone, a shadow's edge and a gap beside a lip do not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.tuft_ends import ACROSS, ALONG, CORE, FloatArray, Indices, ends, over, size, within

SIDES = (
    *("least_of_both", "filled_of_both", "steady", "drift", "drift_over_least", "calm_side", "other_side", "apart"),
    *("drop_least", "drop_most", "beyond_least", "beyond_most", "both_over_contrast", "both"),
)
_HALF = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """Root-light numbers along a line, (n, along, 3): of itself, left and right of it; both: what it stands off the
    side that it is more like, (n, along)."""

    line: FloatArray
    left: FloatArray
    right: FloatArray
    both: FloatArray


def beside(patch: FloatArray, low: Indices, high: Indices) -> Beside:
    """From the patch of each line (n, along, across, 3) and where it lies across."""
    inner = (np.arange(len(ACROSS)) >= low[:, None]) & (np.arange(len(ACROSS)) <= high[:, None])
    share = (inner / inner.sum(axis=1)[:, None]).astype(np.float32)  # single precision is enough, and twice as fast
    line = np.einsum("ntsc,ns->ntc", patch, share, optimize=True)
    line, left, right = (_smoothed(each) for each in (line, _near(patch, low - 2, -1), _near(patch, high + 2, 1)))
    both = np.minimum(size(line - left), size(line - right))
    return Beside(line, left, right, both)


def _near(patch: FloatArray, at: Indices, way: int) -> FloatArray:
    """The mean of two places at and beyond an index across."""
    n, last = np.arange(len(patch)), patch.shape[2] - 1
    one, two = (patch[n, :, np.clip(at + way * k, 0, last)] for k in range(2))
    mean: FloatArray = 0.5 * (one + two)
    return mean


def _smoothed(values: FloatArray) -> FloatArray:
    out = values.copy()
    out[:, 1:-1] = (values[:, :-2] + values[:, 1:-1] + values[:, 2:]) / 3.0
    return out


def ends_of_both(seen: Beside) -> tuple[Indices, Indices]:
    """The ends where it ceases to stand off both sides, whichever way."""
    usual = np.maximum(np.median(seen.both[:, CORE], axis=1), 1e-6)
    return ends(seen.both / usual[:, None])


def sides(seen: Beside, start: Indices, stop: Indices, contrast: FloatArray) -> FloatArray:
    """What tells a thread from other lines, (n, len(SIDES)), for these ends."""
    along, contrast = within(start, stop), np.maximum(contrast, 1e-6)
    count = along.sum(axis=1)
    ranked = np.sort(np.where(along, seen.both, np.inf), axis=1)
    n = np.arange(len(count))
    least, usual = ranked[n, (0.15 * (count - 1)).astype(int)], np.maximum(ranked[n, (count - 1) // 2], 1e-6)
    drift = _spread(seen.line, along)
    calm = np.sort(np.stack([_spread(seen.left, along), _spread(seen.right, along)]), axis=0)
    apart = size(over(seen.left - seen.right, along))
    drops, beyond = _at_ends(seen, start, stop, count)
    return np.stack([
        least / usual, ((seen.both > _HALF * usual[:, None]) & along).sum(axis=1) / count,
        np.minimum(drift / (calm[1] + 1.0), 3.0), np.minimum(drift / contrast, 1.5), np.minimum(drift / usual, 1.5),
        np.minimum(calm[0] / contrast, 2.0), np.minimum(calm[1] / contrast, 3.0), np.minimum(apart / contrast, 3.0),
        *np.clip(np.sort(drops / contrast, axis=0), 0.0, 1.5), *np.clip(np.sort(beyond / usual, axis=0), 0.0, 1.5),
        np.minimum(usual / contrast, 1.3), np.log(np.clip(usual, 5.0, 100.0)),
    ], axis=1)  # fmt: skip


def _spread(tones: FloatArray, along: np.ndarray) -> FloatArray:
    """Root mean square about the mean along, over all channels."""
    off = ((tones - over(tones, along)[:, None]) ** 2).sum(axis=2)
    return np.sqrt(over(off, along))


def _at_ends(seen: Beside, start: Indices, stop: Indices, count: Indices) -> tuple[FloatArray, FloatArray]:
    """How far the tone drops over either end, and what still stands off beyond it, (2, n) each."""
    n, last = np.arange(len(start)), len(ALONG) - 1
    step = np.maximum(np.rint(0.12 * count).astype(int), 1)
    drops, beyond = [], []
    for end, way in ((start, -1), (stop, 1)):
        inside = seen.line[n, np.clip(end - way * 2 * step, 0, last)]
        out = [np.clip(end + way * (k * step + 1), 0, last) for k in (1, 2)]
        drops.append(size(inside - 0.5 * (seen.line[n, out[0]] + seen.line[n, out[1]])))
        beyond.append(np.maximum(seen.both[n, out[0]], seen.both[n, out[1]]))
    return np.stack(drops), np.stack(beyond)
