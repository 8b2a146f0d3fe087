"""How a flat part lies on a photo: the homography through known points, what it does to places and directions, and how
sure that is.

A point (x, y) of the part [m] is seen at (X, Y) = ((h₁·p)/(h₃·p), (h₂·p)/(h₃·p)), p = (x, y, 1).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

FloatArray = NDArray[np.float64]
POINT_U_PX = 2.0  # of pointing at a mark on a photo (common practice, no source)
_LEAST_TRIANGLE = 0.004  # of the square of the points' extent: flatter ones are as good as a line
_STEP = 1e-6


class DegeneratePointsError(ValueError):
    """The points cannot tell how a part lies on a photo; the sentence says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Homography:
    """From a part's plane to a picture. matrix: (3, 3), scaled to h₃·p = 1 at the middle of the points.

    residual_px: root mean square distance between the points and where the homography puts them (0 for four points,
    which it meets exactly); point_u_px: standard uncertainty of one coordinate of one point: as stated, or as the
    residuals tell where that is more; dof: 2 n − 8; covariance: of the matrix's entries, (9, 9).
    """

    matrix: FloatArray
    covariance: FloatArray
    residual_px: float
    residuals_px: FloatArray
    point_u_px: float
    dof: int

    def to_picture(self, points: ArrayLike) -> FloatArray:
        """Where points of the part are seen, (…, 2) [m] → (…, 2) [px]."""
        return _mapped(self.matrix, np.asarray(points, float))

    def to_part(self, points: ArrayLike) -> FloatArray:
        """Where on the part points of the picture lie, (…, 2) [px] → (…, 2) [m]."""
        return _mapped(_inverse(self.matrix), np.asarray(points, float))

    def in_view(self, points: ArrayLike) -> NDArray[np.bool_]:
        """Whether points of the part lie before the camera, (…,)."""
        p = np.asarray(points, float)
        seen: NDArray[np.bool_] = p @ self.matrix[2, :2] + self.matrix[2, 2] > 0.0
        return seen

    def jacobian(self, points: ArrayLike) -> FloatArray:
        """∂(X, Y)/∂(x, y) at points of the part, (…, 2, 2) [px/m]: (h_ij − X_i h₃j)/(h₃·p)."""
        p = np.asarray(points, float)
        w = p @ self.matrix[2, :2] + self.matrix[2, 2]
        seen = self.to_picture(p)
        found: FloatArray = (self.matrix[:2, :2] - seen[..., :, None] * self.matrix[2, :2]) / w[..., None, None]
        return found

    def direction_on_picture(self, points: ArrayLike, directions_rad: ArrayLike) -> FloatArray:
        """How directions on the part at its points (…, 2) are seen, (…,) [rad]."""
        return _turned(self.jacobian(points), np.asarray(directions_rad, float))

    def direction_on_part(self, points: ArrayLike, directions_rad: ArrayLike) -> FloatArray:
        """What directions seen on the picture at places given on the part (…, 2) are on the part, (…,) [rad]."""
        return _turned(_inverse(self.jacobian(points)), np.asarray(directions_rad, float))

    def place_u_px(self, points: ArrayLike) -> FloatArray:
        """Standard uncertainty of where points of the part are seen: root of the sum of both variances, (…,) [px]."""
        p = np.asarray(points, float)
        change = self._changes(lambda matrix: _mapped(matrix, p))
        variance = np.einsum("i...k,ij,j...k->...k", change, self.covariance, change)
        found: FloatArray = np.sqrt(np.maximum(variance.sum(axis=-1), 0.0))
        return found

    def direction_u_rad(self, points: ArrayLike, directions_rad: ArrayLike) -> FloatArray:
        """Standard uncertainty of a direction on the part that the homography adds to one seen, (…,) [rad].

        directions_rad: on the part. A turn on the picture is carried back at the same place of the part.
        """
        p, way = np.asarray(points, float), np.asarray(directions_rad, float)
        seen = self.direction_on_picture(p, way)

        def back(matrix: FloatArray) -> FloatArray:
            turned = _with(self, matrix).direction_on_part(p, seen) - way
            return np.asarray(np.remainder(turned + math.pi, math.tau) - math.pi, np.float64)

        change = self._changes(back)
        variance = np.einsum("i...,ij,j...->...", change, self.covariance, change)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float64)

    def _changes(self, told: Callable[[FloatArray], FloatArray]) -> FloatArray:
        """Derivatives of something that the matrix tells by its nine entries, (9, …)."""
        steps = []
        for entry in range(9):
            step = np.zeros(9)
            step[entry] = _STEP * max(abs(float(self.matrix.flat[entry])), 1e-9)
            up, down = (told(self.matrix + sign * step.reshape(3, 3)) for sign in (1.0, -1.0))
            steps.append((up - down) / (2.0 * step[entry]))
        return np.array(steps)


def _with(homography: Homography, matrix: FloatArray) -> Homography:
    return Homography(matrix, homography.covariance, 0.0, homography.residuals_px, 0.0, 0)


def fit_homography(part_m: ArrayLike, picture_px: ArrayLike, point_u_px: float = POINT_U_PX) -> Homography:
    """The homography through n ≥ 4 points: the direct linear transformation in normalised coordinates, then the least
    sum of squared distances on the picture (with four points both meet all of them).

    part_m, picture_px: (n, 2); point_u_px: standard uncertainty of one coordinate pointed at on the picture.
    Raises DegeneratePointsError where there are fewer than four points, all but one lie in a line on the part or on
    the picture, or the plane would be seen from both sides at once.
    Source: R. Hartley, A. Zisserman, Multiple View Geometry (2nd ed. 2004), algorithms 4.2 and 4.3, section 5.2
    (from memory).
    """
    p, q = np.asarray(part_m, float), np.asarray(picture_px, float)
    if p.ndim != 2 or p.shape[1] != 2 or p.shape != q.shape or not (np.isfinite(p).all() and np.isfinite(q).all()):
        raise ValueError("part_m, picture_px: as many points in both, with two finite coordinates each")
    if len(p) < 4:
        raise DegeneratePointsError(f"{len(p)} points are too few: four or more tell how a part lies on a photo.")
    _refuse_lines(p, "part")
    _refuse_lines(q, "photo")
    before, after = _normalising(p), _normalising(q)
    x, y = _mapped(before, p), _mapped(after, q)
    start = _direct(x, y)
    if start[2, 2] == 0.0 or np.any((x @ start[2, :2] + start[2, 2]) / start[2, 2] <= 1e-6):
        raise DegeneratePointsError(
            "The points would show the part from both sides at once; two of them may be swapped."
        )
    start = start / start[2, 2]

    def missed(h: FloatArray) -> FloatArray:
        return (_mapped(_matrix(h), x) - y).ravel()

    fitted = least_squares(missed, start.ravel()[:8], method="lm")
    return _told(_matrix(fitted.x), np.asarray(fitted.jac, float), (before, after), (p, q), point_u_px)


def _told(
    h: FloatArray, jac: FloatArray, scalings: tuple[FloatArray, FloatArray], points: tuple[FloatArray, FloatArray],
    point_u_px: float,
) -> Homography:  # fmt: skip
    (before, after), (p, q) = scalings, points
    back = np.linalg.inv(after)
    matrix = back @ h @ before
    scale = float(matrix[2, :2] @ p.mean(axis=0) + matrix[2, 2])
    matrix = matrix / scale
    residuals = _mapped(matrix, p) - q
    dof = 2 * len(p) - 8
    seen_u = math.sqrt(float((residuals**2).sum()) / dof) if dof else 0.0
    u = max(point_u_px, seen_u)
    inner = np.linalg.pinv(jac.T @ jac) * (u * after[0, 0]) ** 2
    outer = (np.kron(back, before.T) / scale)[:, :8]
    distances = np.hypot(residuals[:, 0], residuals[:, 1])
    return Homography(matrix, outer @ inner @ outer.T, float(np.sqrt((distances**2).mean())), distances, u, dof)


def _inverse(matrices: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrices), np.float64)


def _matrix(h: FloatArray) -> FloatArray:
    return np.append(h, 1.0).reshape(3, 3)


def _mapped(matrix: FloatArray, points: FloatArray) -> FloatArray:
    flat = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(flat[..., :2] / flat[..., 2:], np.float64)


def _turned(jacobian: FloatArray, directions: FloatArray) -> FloatArray:
    c, s = np.cos(directions), np.sin(directions)
    found: FloatArray = np.arctan2(
        jacobian[..., 1, 0] * c + jacobian[..., 1, 1] * s, jacobian[..., 0, 0] * c + jacobian[..., 0, 1] * s
    )
    return found


def _normalising(points: FloatArray) -> FloatArray:
    """To mean 0 and mean distance √2."""
    middle = points.mean(axis=0)
    scale = math.sqrt(2.0) / float(np.hypot(*(points - middle).T).mean())
    return np.array([[scale, 0.0, -scale * middle[0]], [0.0, scale, -scale * middle[1]], [0.0, 0.0, 1.0]])


def _direct(x: FloatArray, y: FloatArray) -> FloatArray:
    one = np.column_stack([x, np.ones(len(x))])
    none = np.zeros_like(one)
    rows = np.concatenate([
        np.hstack([one, none, -y[:, :1] * one]), np.hstack([none, one, -y[:, 1:] * one])
    ])  # fmt: skip
    found: FloatArray = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    return found


def _refuse_lines(points: FloatArray, where: str) -> None:
    """Four of the points must be corners of a quadrangle without three of them in a line."""
    extent = float(np.ptp(points, axis=0).max())
    outermost = np.unique(np.argsort(points @ [[1, 1, 0, 1], [0, 1, 1, -1]], axis=0)[[0, 1, -1]])
    few = points if len(points) <= 12 else points[outermost]
    for four in combinations(range(len(few)), 4):
        areas = [_area(few[list(three)]) for three in combinations(four, 3)]
        if min(areas) > _LEAST_TRIANGLE * extent**2 > 0.0:
            return
    raise DegeneratePointsError(
        f"The points lie too nearly in a line on the {where}: four of them must be corners of an open quadrangle."
    )


def _area(three: FloatArray) -> float:
    a, b = three[1] - three[0], three[2] - three[0]
    return 0.5 * abs(float(a[0] * b[1] - a[1] * b[0]))
