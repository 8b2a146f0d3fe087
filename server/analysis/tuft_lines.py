"""Ridge points joined to straight lines: neighbours that point along each other, then pieces that go on in line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from server.analysis.tuft_ridges import RidgePoints

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

LEAST_POINTS = 6
MOST_LINES = 20_000
_STEP_ALONG_RAD = 0.65  # a neighbour lies no further off the line's way
_TURN_RAD = 0.45  # and points no further elsewhere
_JOIN_TURN_RAD = 0.22
_JOIN_GAP = 0.45  # of the longer piece's length
_JOIN_ASIDE = 2.0  # pixels of the level


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Straight lines on the photo, arrays (n,): middle [px], way (mod π), half length along it to either end [px],
    points, root mean square of the points about the line and about the best parabola's [px], mean strength, mean
    strength over texture, bright or dark, step of the level, of colour or of lightness."""

    x: FloatArray
    y: FloatArray
    way_rad: FloatArray
    half_px: FloatArray
    points: IntArray
    aside_px: FloatArray
    strength: FloatArray
    over_texture: FloatArray
    bright: NDArray[np.bool_]
    step: IntArray
    chroma: NDArray[np.bool_]

    def __len__(self) -> int:
        """Number of lines."""
        return len(self.x)

    def some(self, which: NDArray[np.generic]) -> Lines:
        """Those of an index or a mask."""
        return Lines(*(getattr(self, name)[which] for name in self.__slots__))


def joined(parts: list[Lines]) -> Lines:
    """Several sets as one."""
    return Lines(*(np.concatenate([getattr(part, name) for part in parts]) for name in Lines.__slots__))


def lines(points: RidgePoints) -> Lines:
    """Straight lines through a level's ridge points, on the photo's pixels."""
    of = _clusters(points)
    pieces = _fit(points, of)
    if not len(pieces):
        return pieces
    merged = _merge(pieces)
    of = np.where(of >= 0, merged[of], -1)
    return _fit(points, of)


def _clusters(p: RidgePoints) -> IntArray:
    """Number of the piece that each point belongs to, −1 for pieces of fewer than `LEAST_POINTS`."""
    count = len(p.x)
    index = np.full(p.shape, -1, np.int32)
    index[p.row, p.column] = np.arange(count)
    pairs = [_pairs(p, index, dr, dc) for dr in range(3) for dc in range(-2, 3) if dr > 0 or dc > 0]
    one, two = (np.concatenate(each) for each in zip(*pairs, strict=True))
    graph = coo_array((np.ones(len(one), np.int8), (one, two)), shape=(count, count))
    _, of = connected_components(graph, directed=False)
    return _renumbered(of, LEAST_POINTS)


def _renumbered(of: NDArray[np.integer], least: int) -> IntArray:
    sizes = np.bincount(of)
    new = np.where(sizes >= least, np.cumsum(sizes >= least) - 1, -1)
    return np.asarray(new[of], np.intp)


def _pairs(p: RidgePoints, index: NDArray[np.int32], dr: int, dc: int) -> tuple[IntArray, IntArray]:
    row, column = p.row + dr, p.column + dc
    inside = np.nonzero((row < p.shape[0]) & (column >= 0) & (column < p.shape[1]))[0]
    other = index[row[inside], column[inside]]
    one, two = inside[other >= 0], other[other >= 0]
    turn = _apart(p.way_rad[one], p.way_rad[two])
    step = np.arctan2(p.y[two] - p.y[one], p.x[two] - p.x[one])
    far = np.hypot(p.y[two] - p.y[one], p.x[two] - p.x[one])
    aside = np.maximum(_apart(step, p.way_rad[one]), _apart(step, p.way_rad[two]))
    good = (p.bright[one] == p.bright[two]) & (turn < _TURN_RAD) & ((aside < _STEP_ALONG_RAD) | (far < 0.7))
    return one[good], two[good].astype(np.intp)


def _apart(one: FloatArray, two: FloatArray) -> FloatArray:
    """Angle between two ways, each mod π."""
    turn: FloatArray = np.abs(np.mod(one - two + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
    return turn


def _fit(p: RidgePoints, of: IntArray) -> Lines:
    """Total least squares of each cluster, weighted by strength."""
    used = np.nonzero(of >= 0)[0]
    of, count = of[used], int(of.max(initial=-1)) + 1
    x, y, weight = p.x[used], p.y[used], p.strength[used]

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(of, values, count), np.float64)

    mass = np.maximum(total(weight), 1e-12)
    points = np.bincount(of, minlength=count)
    mx, my = total(weight * x) / mass, total(weight * y) / mass
    dx, dy = x - mx[of], y - my[of]
    xx, yy, xy = (total(weight * each) / mass for each in (dx * dx, dy * dy, dx * dy))
    way = np.mod(0.5 * np.arctan2(2 * xy, xx - yy), np.pi)
    along, across = _turned(dx, dy, way[of])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, of, along)
    np.maximum.at(high, of, along)
    aside = np.sqrt(total(weight * across**2) / mass)
    middle = 0.5 * (low + high)
    scale, shift = float(p.step), 0.5 * (p.step - 1)
    return Lines(
        (mx + middle * np.cos(way)) * scale + shift, (my + middle * np.sin(way)) * scale + shift, way,
        0.5 * (high - low) * scale, points, aside * scale, mass / np.maximum(points, 1),
        total(p.over_texture[used]) / np.maximum(points, 1),
        total(weight * p.bright[used]) > 0.5 * mass, np.full(count, p.step), np.full(count, p.chroma),
    )  # fmt: skip


def _turned(dx: FloatArray, dy: FloatArray, way: FloatArray) -> tuple[FloatArray, FloatArray]:
    c, s = np.cos(way), np.sin(way)
    return dx * c + dy * s, dy * c - dx * s


def _merge(found: Lines) -> IntArray:
    """Number of the line that each piece belongs to: pieces in line with a short gap between are one."""
    count = len(found)
    if count < 2:
        return np.arange(count)
    way = np.stack([np.cos(found.way_rad), np.sin(found.way_rad)], axis=1)
    middle = np.stack([found.x, found.y], axis=1)
    ends = np.concatenate([middle - found.half_px[:, None] * way, middle + found.half_px[:, None] * way])
    step = float(found.step[0])
    reach = max(2.0 * _JOIN_GAP * float(np.quantile(found.half_px, 0.98)), 8.0 * step)
    pairs = cKDTree(ends).query_pairs(min(reach, 60.0 * step), output_type="ndarray")
    one, two = pairs[:, 0] % count, pairs[:, 1] % count
    gap = np.hypot(*(ends[pairs[:, 0]] - ends[pairs[:, 1]]).T)
    offset = middle[two] - middle[one]
    longer = np.where(found.half_px[one] >= found.half_px[two], one, two)
    joint = np.mod(np.arctan2(offset[:, 1], offset[:, 0]), np.pi)
    least = np.minimum(found.half_px[one], found.half_px[two]).clip(2.0)
    good = (
        (one != two) & (found.bright[one] == found.bright[two])
        & (gap < np.maximum(2.0 * _JOIN_GAP * found.half_px[longer], 5.0 * step))
        & (_apart(found.way_rad[one], found.way_rad[two]) < _JOIN_TURN_RAD + 2.0 * step / least)
        & (_apart(joint, found.way_rad[longer]) < 0.12 + _JOIN_ASIDE * step / np.maximum(np.hypot(*offset.T), 1.0))
    )  # fmt: skip
    graph = coo_array((np.ones(int(good.sum()), np.int8), (one[good], two[good])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], np.intp)
