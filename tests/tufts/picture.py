"""Drawing on a picture that is an array: soft-edged strokes, polygons, discs, and the way a part lies on it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float32]
EDGE_PX = 0.5


@dataclass(frozen=True)
class Lie:
    """How a part lies on the picture: (u, v) → H (u, v + bulge · u (1 − u)), its unit square to a quadrangle."""

    matrix: NDArray[np.float64]
    bulge: float = 0.0

    def to_picture(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        u, v = points[..., 0], points[..., 1]
        bent = np.stack([u, v + self.bulge * u * (1.0 - u), np.ones_like(u)], axis=-1) @ self.matrix.T
        return bent[..., :2] / bent[..., 2:]

    def to_part(self, x: F, y: F) -> tuple[F, F]:
        back = np.linalg.inv(self.matrix).astype(np.float32)
        w = back[2, 0] * x + back[2, 1] * y + back[2, 2]
        u = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / w
        v = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / w
        return u, v - np.float32(self.bulge) * u * (1.0 - u)


def quadrangle(corners: NDArray[np.float64], bulge: float = 0.0) -> Lie:
    """The plane whose unit square lies on four corners (u, v) = (0, 0), (1, 0), (1, 1), (0, 1)."""
    rows, right = [], []
    for (u, v), (x, y) in zip(((0, 0), (1, 0), (1, 1), (0, 1)), corners, strict=True):
        rows += [[u, v, 1, 0, 0, 0, -u * x, -v * x], [0, 0, 0, u, v, 1, -u * y, -v * y]]
        right += [x, y]
    return Lie(np.append(np.linalg.solve(np.array(rows, float), np.array(right, float)), 1.0).reshape(3, 3), bulge)


def box(picture: F, points: NDArray[np.float64], margin: float) -> tuple[slice, slice, F, F] | None:
    """The part of a picture around some points, with the coordinates of its pixels; None where outside."""
    height, width = picture.shape[:2]
    x0, y0 = np.floor(points.min(axis=0) - margin).astype(int)
    x1, y1 = np.ceil(points.max(axis=0) + margin).astype(int) + 1
    x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, width), min(y1, height)
    if x0 >= x1 or y0 >= y1:
        return None
    x, y = np.meshgrid(np.arange(x0, x1, dtype=np.float32), np.arange(y0, y1, dtype=np.float32))
    return slice(y0, y1), slice(x0, x1), x, y


def stroke_cover(x: F, y: F, line: NDArray[np.float64], half_widths: NDArray[np.float64]) -> F:
    """How far each pixel is covered by a stroke along a polyline (n, 2) with a half width at each point (n,)."""
    cover = np.zeros_like(x)
    for (a, b), (wa, wb) in zip(pairwise(line), pairwise(half_widths), strict=True):
        d = b - a
        long2 = max(float(d @ d), 1e-9)
        t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / long2, 0.0, 1.0)
        away = np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1])
        np.maximum(cover, np.clip(wa + t * (wb - wa) - away + EDGE_PX, 0.0, 1.0), out=cover)
    return cover


def blend(picture: F, where: tuple[slice, slice], cover: F, colour: NDArray[np.float64]) -> None:
    """Lay a colour over part of a picture."""
    rows, columns = where
    under = picture[rows, columns]
    under += cover[..., None] * (colour.astype(np.float32) - under)


def stroke(picture: F, line: NDArray[np.float64], half_width: float, colour: NDArray[np.float64]) -> None:
    """Draw a polyline of constant width."""
    found = box(picture, line, half_width + 2)
    if found is not None:
        rows, columns, x, y = found
        blend(picture, (rows, columns), stroke_cover(x, y, line, np.full(len(line), half_width)), colour)


def inside_convex(x: F, y: F, corners: NDArray[np.float64]) -> F:
    """How far each pixel is inside a convex polygon, softly at its edges."""
    cover = np.ones_like(x)
    turn = np.sign(np.cross(np.append(corners[1] - corners[0], 0), np.append(corners[2] - corners[1], 0))[2])
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        d = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        off = turn * (d[0] * (y - a[1]) - d[1] * (x - a[0]))
        np.minimum(cover, np.clip(off + EDGE_PX, 0.0, 1.0), out=cover)
    return cover


def polygon(picture: F, corners: NDArray[np.float64], colour: NDArray[np.float64]) -> None:
    """Fill a convex polygon."""
    found = box(picture, corners, 2)
    if found is not None:
        rows, columns, x, y = found
        blend(picture, (rows, columns), inside_convex(x, y, corners), colour)


def disc(picture: F, centre: NDArray[np.float64], radius: float, colour: NDArray[np.float64]) -> None:
    """Fill a disc."""
    found = box(picture, centre[None, :], radius + 2)
    if found is not None:
        rows, columns, x, y = found
        cover = np.clip(radius - np.hypot(x - centre[0], y - centre[1]) + EDGE_PX, 0.0, 1.0)
        blend(picture, (rows, columns), cover, colour)
