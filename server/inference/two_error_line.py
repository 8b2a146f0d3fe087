"""A straight line through points with errors in both coordinates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

STEPS = 100
ANGLES = 721
CONVERGED = 1e-14


@dataclass(frozen=True, slots=True)
class YorkLine:
    """y = intercept + slope x; statistic: χ² of the misfit with n − 2 degrees of freedom.

    slope_u, intercept_u, correlation: from the stated errors alone, not scaled by the misfit.
    """

    slope: float
    intercept: float
    slope_u: float
    intercept_u: float
    correlation: float
    statistic: float


@dataclass(frozen=True, slots=True)
class ScatteredLine:
    """The same where the points also scatter about the line, by scatter (one sd of y) beyond their errors.

    low95, high95: of the slope; both None where a line of any slope fits, because x differ too little.
    """

    slope: float
    intercept: float
    low95: float | None
    high95: float | None
    scatter: float
    statistic: float


def york_line(
    x: ArrayLike, y: ArrayLike, x_u: ArrayLike, y_u: ArrayLike, *, correlation: ArrayLike = 0.0
) -> YorkLine:
    """Least squares with errors in both coordinates, correlated within a point but not between points.

    W_i = ω(x_i) ω(y_i)/(ω(x_i) + b² ω(y_i) − 2 b r_i α_i),  ω = 1/u²,  α_i = √(ω(x_i) ω(y_i))
    β_i = W_i [U_i/ω(y_i) + b V_i/ω(x_i) − (b U_i + V_i) r_i/α_i],  U = x − x̄,  V = y − ȳ
    b = Σ W β V / Σ W β U,  a = ȳ − b x̄

    x, y: (n,), n ≥ 3; x_u, y_u: standard uncertainties > 0, (n,); correlation: of the errors of a point.
    Raises ValueError for other shapes, an uncertainty that is not positive, or x that are all one.
    Source: D. York, N. Evensen, M. Martínez, J. De Basabe Delgado, Am. J. Phys. 72 (2004) 367, eq. 13.
    """
    px, py, ux, uy = (np.asarray(each, float) for each in (x, y, x_u, y_u))
    if px.ndim != 1 or px.size < 3 or not px.shape == py.shape == ux.shape == uy.shape:
        raise ValueError("x, y, x_u, y_u: at least three points, and as many of each")
    if np.any(ux <= 0.0) or np.any(uy <= 0.0):
        raise ValueError("x_u, y_u: each must be positive")
    if np.ptp(px) == 0.0:
        raise ValueError("x: all are one")
    r = np.broadcast_to(np.asarray(correlation, float), px.shape)
    slope = float(np.polyfit(px, py, 1)[0])
    for _ in range(STEPS):
        weight, beta, centre = _york_step(px, py, ux, uy, r=r, slope=slope)
        new = float(np.sum(weight * beta * (py - centre[1])) / np.sum(weight * beta * (px - centre[0])))
        done = abs(new - slope) <= CONVERGED * max(1.0, abs(new))
        slope = new
        if done:
            break
    weight, beta, centre = _york_step(px, py, ux, uy, r=r, slope=slope)
    adjusted = centre[0] + beta
    mean = float(np.sum(weight * adjusted) / np.sum(weight))
    slope_u = float(np.sum(weight * (adjusted - mean) ** 2) ** -0.5)
    intercept = float(centre[1] - slope * centre[0])
    intercept_u = math.hypot(float(np.sum(weight) ** -0.5), mean * slope_u)
    statistic = float(np.sum(weight * (py - intercept - slope * px) ** 2))
    return YorkLine(slope, intercept, slope_u, intercept_u, -mean * slope_u / intercept_u, statistic)


def _york_step(
    x: FloatArray, y: FloatArray, ux: FloatArray, uy: FloatArray, *, r: FloatArray, slope: float
) -> tuple[FloatArray, FloatArray, tuple[float, float]]:
    """Weights, β and the weighted centre for a slope."""
    weight = 1.0 / (uy**2 + slope**2 * ux**2 - 2.0 * slope * r * ux * uy)
    centre = (float(np.sum(weight * x) / np.sum(weight)), float(np.sum(weight * y) / np.sum(weight)))
    u, v = x - centre[0], y - centre[1]
    beta = weight * (u * uy**2 + slope * v * ux**2 - (slope * u + v) * r * ux * uy)
    return weight, beta, centre


def scattered_line(x: ArrayLike, y: ArrayLike, x_cov: ArrayLike, y_cov: ArrayLike) -> ScatteredLine:
    """York's line for errors that points share, and for points that scatter about it.

    Q(a, b) = rᵀ (V_y + b² V_x + τ² I)⁻¹ r,  r = y − a − b x;  least over a and b
    τ²: such that the least Q is n − 2 (Paule & Mandel's rule), or 0 where it is less already.
    The slope's interval: every b with Q(b) − least Q ≤ t²(0.975; n − 2).

    x, y: (n,), n ≥ 4; x_cov, y_cov: covariances of their errors, (n, n), their sum positive definite.
    With diagonal covariances and no scatter this is York's line. Raises ValueError for other shapes.
    """
    from scipy.stats import t

    points = _Points(*(np.asarray(each, float) for each in (x, y, x_cov, y_cov)))
    n = points.x.size
    shapes = (points.y.shape, points.vx.shape, points.vy.shape)
    if points.x.ndim != 1 or n < 4 or shapes != ((n,), (n, n), (n, n)):
        raise ValueError("x, y, x_cov, y_cov: at least four points, and covariances of as many")
    angles = np.linspace(-0.5 * math.pi, 0.5 * math.pi, ANGLES + 2)[1:-1]
    tau2 = _scatter(points, angles)
    misfit = points.misfits(tau2, angles)
    least = _refined(points, tau2, angles, misfit)
    best = float(points.misfits(tau2, np.array([least]))[0])
    limit = best + float(t.ppf(0.975, n - 2)) ** 2
    ends = [_bound(points, tau2, least, side, limit) for side in (angles[angles < least][::-1], angles[angles > least])]
    low, high = ends if None not in ends else (None, None)
    slope = math.tan(least)
    return ScatteredLine(slope, points.intercept(tau2, slope), low, high, math.sqrt(tau2), best)


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    x: FloatArray
    y: FloatArray
    vx: FloatArray
    vy: FloatArray

    def misfits(self, tau2: float, angles: FloatArray) -> FloatArray:
        """Least Q over the intercept, for slopes tan(angle), (k,): with V_y + τ² I = L Lᵀ and L⁻¹ V_x L⁻ᵀ = Q Λ Qᵀ
        the inverse for any slope is L⁻ᵀ Q (1 + b² Λ)⁻¹ Qᵀ L⁻¹."""
        n = self.x.size
        slack = 1e-12 * float(np.trace(self.vy) + np.trace(self.vx)) / n
        lower = np.linalg.cholesky(self.vy + (tau2 + slack) * np.eye(n))
        inverse = np.linalg.inv(lower)
        eigen, turn = np.linalg.eigh(inverse @ self.vx @ inverse.T)
        x, y, one = (turn.T @ (inverse @ each) for each in (self.x, self.y, np.ones(n)))
        b = np.tan(angles)[:, None]
        weights, r = 1.0 / (1.0 + b**2 * np.maximum(eigen, 0.0)[None]), y[None] - b * x[None]
        across, total = np.sum(weights * r * one, axis=1), np.sum(weights * one**2, axis=1)
        return np.asarray(np.sum(weights * r**2, axis=1) - across**2 / total)

    def intercept(self, tau2: float, slope: float) -> float:
        """The intercept of least Q for a slope."""
        weights = np.linalg.solve(self.vy + slope**2 * self.vx + tau2 * np.eye(self.x.size), np.ones(self.x.size))
        return float(weights @ (self.y - slope * self.x) / np.sum(weights))


def _scatter(points: _Points, angles: FloatArray) -> float:
    """τ² at which the least misfit is n − 2, or 0."""
    from scipy.optimize import brentq

    coarse, wanted = angles[::4], points.x.size - 2

    def excess(tau2: float) -> float:
        return float(np.min(points.misfits(tau2, coarse))) - wanted

    if excess(0.0) <= 0.0:
        return 0.0
    most = float(np.sum((points.y - np.mean(points.y)) ** 2)) / wanted  # a line of slope 0 then fits so well
    return float(brentq(excess, 0.0, most, xtol=1e-9 * most)) if excess(most) < 0.0 else most


def _refined(points: _Points, tau2: float, angles: FloatArray, misfit: FloatArray) -> float:
    from scipy.optimize import minimize_scalar

    centre, step = float(angles[int(np.argmin(misfit))]), float(angles[1] - angles[0])
    found = minimize_scalar(
        lambda angle: float(points.misfits(tau2, np.array([angle]))[0]),
        bounds=(centre - step, centre + step), method="bounded", options={"xatol": 1e-10},
    )  # fmt: skip
    return float(found.x)


def _bound(points: _Points, tau2: float, least: float, side: FloatArray, limit: float) -> float | None:
    """The slope at which the misfit passes the limit, going out to one side; None where it does not before the
    vertical."""
    from scipy.optimize import brentq

    beyond = np.flatnonzero(points.misfits(tau2, side) > limit) if side.size else side
    if beyond.size == 0:
        return None
    inner = least if beyond[0] == 0 else float(side[beyond[0] - 1])

    def above(angle: float) -> float:
        return float(points.misfits(tau2, np.array([angle]))[0]) - limit

    return math.tan(float(brentq(above, inner, float(side[beyond[0]]), xtol=1e-12)))
