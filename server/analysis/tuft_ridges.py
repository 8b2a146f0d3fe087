"""Middle lines of thin bright and dark bars on a plane, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter

from server.analysis.tuft_planes import Level, Plane

SIGMA = 1.3  # of the smoothing, in pixels of the level: bars of about 2 to 6 of its pixels stand out
ABOVE_TEXTURE = 2.8  # a ridge point is so many times as strong as the middle of what is around it
LEAST_STRENGTH = {False: 0.9, True: 0.7}  # by Level.chroma, in root-light numbers: below this nobody sees a line
_BLOCK = 64
_STRIP = 256
MOST_POINTS = 600_000

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RidgePoints:
    """Points on middle lines, arrays (n,): pixel (row, column), the point itself x, y [px of the level], the way of the
    line (mod π), strength (positive), dark or bright, strength over that of the texture around."""

    row: NDArray[np.intp]
    column: NDArray[np.intp]
    x: FloatArray
    y: FloatArray
    way_rad: FloatArray
    strength: FloatArray
    bright: NDArray[np.bool_]
    over_texture: FloatArray
    shape: tuple[int, int]
    step: int
    chroma: bool
    cut: bool


def ridge_points(level: Level) -> RidgePoints:
    """Where the second derivative across a line is greatest and the first one zero.

    Hessian of the plane smoothed by a Gaussian; λ its eigenvalue of larger magnitude, n its eigenvector:
    t = −(g · n)/λ, a point at p + t n where both |t n_x| and |t n_y| ≤ ½; strength |λ| − |other eigenvalue|.
    A step of tone has no such point: where |λ| is large there, g · n is, too.
    Source: C. Steger, IEEE Trans. PAMI 20 (1998) 113 (from memory).
    """
    smooth = gaussian_filter1d(level.values, SIGMA, axis=0, truncate=3.0)
    smooth = gaussian_filter1d(smooth, SIGMA, axis=1, truncate=3.0)
    strength = np.zeros(smooth.shape, np.float32)
    for row in range(1, smooth.shape[0] - 1, _STRIP):
        stop = min(row + _STRIP, smooth.shape[0] - 1)
        xx, yy, xy = _second(smooth[row - 1 : stop + 1])
        strength[row:stop, 1:-1] = _strength(xx, yy, xy)
    texture = _texture(strength)
    least = np.maximum(texture * ABOVE_TEXTURE, LEAST_STRENGTH[level.chroma])
    rows, columns = np.concatenate([_above(strength, least, k) for k in range(0, len(strength), _BLOCK)], axis=1)
    return _points(level, smooth, strength, texture, (rows, columns))


def _above(strength: Plane, least: Plane, row: int) -> NDArray[np.intp]:
    """Rows and columns of one row of blocks where the strength is above the least, (2, n)."""
    strip = strength[row : row + _BLOCK]
    rows, columns = np.nonzero(strip > np.repeat(least[row // _BLOCK], _BLOCK)[: strip.shape[1]])
    return np.stack([rows + row, columns])


def _second(s: Plane) -> tuple[Plane, Plane, Plane]:
    middle = 2.0 * s[1:-1, 1:-1]
    xx = s[1:-1, 2:] + s[1:-1, :-2] - middle
    yy = s[2:, 1:-1] + s[:-2, 1:-1] - middle
    xy = 0.25 * (s[2:, 2:] + s[:-2, :-2] - s[2:, :-2] - s[:-2, 2:])
    return xx, yy, xy


def _strength(xx: Plane, yy: Plane, xy: Plane) -> Plane:
    """|λ1| − |λ2|: twice the smaller of |mean| and half the difference of the eigenvalues."""
    mean = np.abs(0.5 * (xx + yy))
    half = np.sqrt(0.25 * (xx - yy) ** 2 + xy**2)
    small: Plane = 2.0 * np.minimum(mean, half)
    return small


def _texture(strength: Plane) -> Plane:
    """The middle strength of each block of pixels, evened out over its neighbours."""
    rows, columns = (-(-side // _BLOCK) for side in strength.shape)
    thin = np.pad(
        strength[::2, ::2],
        ((0, rows * _BLOCK // 2 - len(strength[::2])), (0, columns * _BLOCK // 2 - len(strength[0, ::2]))),
        mode="edge",
    )
    half = _BLOCK // 2
    blocks = thin.reshape(rows, half, columns, half).swapaxes(1, 2).reshape(rows, columns, -1)
    middle: Plane = np.partition(blocks, blocks.shape[2] * 3 // 4, axis=2)[..., blocks.shape[2] * 3 // 4]
    return uniform_filter(middle, 3, mode="nearest")


def _points(
    level: Level, s: Plane, strength: Plane, texture: Plane, places: tuple[NDArray[np.intp], NDArray[np.intp]]
) -> RidgePoints:
    r, c = places
    gx = 0.5 * (s[r, c + 1] - s[r, c - 1])
    gy = 0.5 * (s[r + 1, c] - s[r - 1, c])
    xx = s[r, c + 1] + s[r, c - 1] - 2 * s[r, c]
    yy = s[r + 1, c] + s[r - 1, c] - 2 * s[r, c]
    xy = 0.25 * (s[r + 1, c + 1] + s[r - 1, c - 1] - s[r + 1, c - 1] - s[r - 1, c + 1])
    mean, half = 0.5 * (xx + yy), np.sqrt(0.25 * (xx - yy) ** 2 + xy**2)
    value = mean + np.copysign(half, mean)
    across = 0.5 * np.arctan2(2.0 * xy, xx - yy) + np.where(mean < 0, 0.5 * np.pi, 0.0)
    nx, ny = np.cos(across), np.sin(across)
    t = -(gx * nx + gy * ny) / value
    on = (np.abs(t * nx) <= 0.55) & (np.abs(t * ny) <= 0.55)
    kept = np.nonzero(on)[0]
    over = strength[r, c] / np.maximum(texture[r // _BLOCK, c // _BLOCK], 1e-3)
    cut = len(kept) > MOST_POINTS
    if cut:
        kept = np.sort(kept[np.argpartition(-over[kept], MOST_POINTS)[:MOST_POINTS]])
    way = np.mod(across[kept] + 0.5 * np.pi, np.pi)
    return RidgePoints(
        r[kept], c[kept], (c + t * nx)[kept].astype(float), (r + t * ny)[kept].astype(float), way.astype(float),
        strength[r, c][kept].astype(float), (value < 0)[kept], over[kept].astype(float),
        (s.shape[0], s.shape[1]), level.step, level.chroma, cut,
    )  # fmt: skip
