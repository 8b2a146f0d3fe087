"""A quantity known at scattered points, told at another point: with its own doubt, and never far from the points."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Model = Literal["the case itself", "mean", "linear", "quadratic"]

VARIED = 1.0  # a direction counts as varied where the points span more than this (scaled units)
AT_A_POINT = 0.25  # so near a point (scaled units) that point speaks for itself
LOCAL = 4  # nearest points per coefficient of a quadratic that a fit uses
SAG = 0.5 / math.sqrt(3.0)  # one u of how far a curve bends off its chord, over the points' rise
NORMAL_975 = 1.959963984540054


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """The quantity at a point: value, u of the interpolation, gradient (f,) per scaled unit.

    weights: (n,) of the points in the value; model: what was fitted through how many points (used), of how many
    directions that were varied; dof: what was left over to judge the fit by.
    unvaried: length of the step to the point that no varied direction holds, and so no gradient tells of.
    """

    value: float
    u: float
    gradient: FloatArray
    weights: FloatArray
    model: Model
    used: int
    varied: int
    dof: int
    unvaried: float


def hull_distance(points: FloatArray, point: FloatArray) -> float:
    """How far a point lies outside the convex hull of points (n, f), in their unit; 0 inside.

    min |Σ w_i x_i − x|, w_i ≥ 0, Σ w_i = 1, by non-negative least squares.
    """
    from scipy.optimize import nnls

    centred = np.asarray(points, float) - np.asarray(point, float)
    firm = 1e4 * max(1.0, float(np.max(np.abs(centred), initial=0.0)))
    table = np.vstack([centred.T, np.full((1, len(centred)), firm)])
    weights, _ = nnls(table, np.concatenate([np.zeros(centred.shape[1]), [firm]]), maxiter=50 * len(centred) + 100)
    return float(np.linalg.norm(centred.T @ (weights / np.sum(weights))))


def tell_at(points: FloatArray, values: FloatArray, point: FloatArray) -> Told:
    """The quantity at a point, from a mean, a plane or a quadratic through the nearest points.

    Of the models that the number of points allows, the one with the least leave-one-out error speaks:
    u² = σ² (1 + h₀) (t(0.975; ν)/1.96)²,  σ² = mean e_i²/(1 − h_i),  h leverage, ν degrees of freedom left
    A plane without any left over: u is what a curve between its points may sag, half of their rise at most.

    points: (n, f), scaled so that 1 is as near as two points may be called one; values: (n,); point: (f,).
    The point is taken to lie inside the points or near them. Raises ValueError for no points.
    Source: leave-one-out residuals e_i/(1 − h_i) as in D. M. Allen, Technometrics 16 (1974) 125 (from memory).
    """
    x, y, at = np.atleast_2d(np.asarray(points, float)), np.asarray(values, float), np.asarray(point, float)
    if y.size == 0 or x.shape != (y.size, at.size):
        raise ValueError("points, values, point: at least one point, and their shapes must fit")
    axes = _varied_axes(x)
    d, centre = axes.shape[1], np.mean(x, axis=0)
    own, there = (x - centre) @ axes, (at - centre) @ axes
    unvaried = float(np.linalg.norm((at - centre) - axes @ there))
    near = _nearest(own, there, LOCAL * _count(d, 2))
    fit = _best_fit(own[near] - there, y[near])
    weights = np.zeros(y.size)
    weights[near] = fit.weights
    gradient = axes @ fit.gradient
    at_once = _told_by_itself(x, y, at, gradient)
    if at_once is not None:
        value, u, chosen = at_once
        return Told(value, u, gradient, chosen, "the case itself", int(np.sum(chosen > 0)), d, fit.dof, unvaried)
    return Told(fit.value, fit.u, gradient, weights, fit.model, near.size, d, fit.dof, unvaried)


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    value: float
    u: float
    gradient: FloatArray
    weights: FloatArray
    model: Model
    dof: int
    error: float


def _varied_axes(points: FloatArray) -> FloatArray:
    """Orthonormal directions (f, d) along which the points differ."""
    centred = points - np.mean(points, axis=0)
    _, _, turned = np.linalg.svd(centred, full_matrices=False)
    spans = np.ptp(centred @ turned.T, axis=0) if len(points) > 1 else np.zeros(len(turned))
    return np.asarray(turned[spans > VARIED].T)


def _nearest(points: FloatArray, point: FloatArray, most: int) -> NDArray[np.int64]:
    if len(points) <= most:
        return np.arange(len(points))
    return np.sort(np.argpartition(np.sum((points - point) ** 2, axis=1), most)[:most])


def _told_by_itself(
    x: FloatArray, y: FloatArray, at: FloatArray, gradient: FloatArray
) -> tuple[float, float, FloatArray] | None:
    """Points within a hair of the asked one speak for themselves, carried by the gradient."""
    step = at - x
    here = np.linalg.norm(step, axis=1) <= AT_A_POINT
    if not here.any():
        return None
    carried = y[here] + step[here] @ gradient
    weights = here / np.sum(here)
    spread = float(np.std(carried, ddof=1)) if carried.size > 1 else 0.0
    moved = float(np.max(np.abs(step[here] @ gradient)))
    return float(np.mean(carried)), math.hypot(spread, moved), weights


def _count(directions: int, degree: int) -> int:
    """Coefficients of a polynomial."""
    return math.comb(directions + degree, degree)


def _best_fit(x: FloatArray, y: FloatArray) -> _Fit:
    """x: (n, d) from the asked point."""
    n, d = x.shape
    plane = _polynomial(x, y, 1) if d > 0 and n >= _count(d, 1) else None
    bowl = _polynomial(x, y, 2) if d > 0 and n >= _count(d, 2) + 2 else None
    known = [fit for fit in (_mean(y, d), plane, bowl) if fit is not None]
    judged = [fit for fit in known if fit.dof > 0]
    if len(known) > 1 and known[-1].dof == 0:  # a plane that nothing is left to judge: better than a mean
        return known[-1]
    return min(judged or known, key=lambda fit: fit.error)


def _mean(y: FloatArray, d: int) -> _Fit:
    n = y.size
    sigma = float(np.std(y, ddof=1)) if n > 1 else 0.0
    u = sigma * math.sqrt(1.0 + 1.0 / n) * _student(n - 1)
    loo = sigma * math.sqrt(n / (n - 1.0)) if n > 1 else math.inf
    return _Fit(float(np.mean(y)), u, np.zeros(d), np.full(n, 1.0 / n), "mean", n - 1, loo)


def _polynomial(x: FloatArray, y: FloatArray, degree: int) -> _Fit | None:
    """A plane or a quadratic about the asked point; None where the points do not tell its coefficients."""
    n, d = x.shape
    scale = max(float(np.max(np.abs(x))), 1e-12)
    z = x / scale
    columns = [np.ones(n), *z.T]
    if degree == 2:
        columns += [z[:, i] * z[:, j] for i in range(d) for j in range(i, d)]
    design = np.column_stack(columns)
    u, s, vt = np.linalg.svd(design, full_matrices=False)
    if s[-1] < 1e-6 * s[0]:
        return None
    inverse = (vt.T / s) @ u.T
    coefficients = inverse @ y
    gradient, weights = coefficients[1 : 1 + d] / scale, inverse[0]
    leverage = np.sum(u**2, axis=1)
    dof, model = n - design.shape[1], ("linear" if degree == 1 else "quadratic")
    if dof == 0:
        sag = SAG * float(np.ptp(y))
        return _Fit(float(coefficients[0]), sag, gradient, weights, model, 0, math.inf)  # type: ignore[arg-type]
    residual, free = y - design @ coefficients, np.maximum(1.0 - leverage, 1e-9)
    if np.any(free < 1e-6):  # a point that alone tells a coefficient can't be left out
        return None
    error = math.sqrt(float(np.mean((residual / free) ** 2)))
    sigma = math.sqrt(float(np.mean(residual**2 / free)))
    at_point = float(weights @ weights)
    told = sigma * math.sqrt(1.0 + at_point) * _student(dof)
    return _Fit(float(coefficients[0]), told, gradient, weights, model, dof, error)  # type: ignore[arg-type]


def _student(dof: int) -> float:
    """How much wider t is than the normal distribution at 97.5 %."""
    if dof < 1:
        return 1.0
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.975)) / NORMAL_975
