"""Integrate over noise parameters: find the mode of their log density, its curvature, then weighted points.

The density is the marginal likelihood of the noise parameters (everything linear already integrated out)
times a normal prior on their logarithms. Points are drawn by a scrambled Sobol sequence from a multivariate
t about the mode and weighted by density over proposal (importance sampling; Kong's effective sample size).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import ndtri
from scipy.stats import chi2, qmc

FloatArray = NDArray[np.float64]
T_DOF = 8.0
MOST_ROUNDS, ENOUGH = 4, 0.15  # of the points effective, before the last round is drawn
STEP = 0.02  # of a direction's scale, for its slope


@dataclass(frozen=True, slots=True, eq=False)
class Mode:
    """Mode of a log density: point (k,), covariance of the curved directions (m, m), value, evaluations."""

    point: FloatArray
    covariance: FloatArray
    value: float
    evaluations: int
    converged: bool


@dataclass(frozen=True, slots=True, eq=False)
class WeightedPoints:
    """Points (n, k) with weights (n,) that sum to one; effective: Kong's effective sample size."""

    points: FloatArray
    weights: FloatArray
    effective: float


def find_mode(  # noqa: PLR0917 - what a search needs
    log_density: Callable[[FloatArray], float],
    start: FloatArray,
    prior_sd: FloatArray,
    curved: NDArray[np.bool_] | None = None,
    closely: bool = True,
    scale: FloatArray | None = None,
) -> Mode:
    """Maximise a log density; take its curvature by central differences along the directions `curved`.

    start, prior_sd: (k,); curved: (k,) or None for no curvature; closely: False stops at a rough mode; scale:
    (k,), how far each direction is expected to be told, which steadies the search. The covariance is that of the
    curved directions with the others held; a direction in which the density does not curve keeps the prior's width.
    """
    count = 0

    def cost(x: FloatArray) -> float:
        nonlocal count
        count += 1
        value = log_density(x)
        return -value if np.isfinite(value) else 1e12

    unit = prior_sd if scale is None else scale

    def scaled(z: FloatArray) -> float:
        return cost(start + unit * z)

    def gradient(z: FloatArray) -> FloatArray:
        slope, here = np.empty(len(z)), scaled(z)
        for i in range(len(z)):
            up = z.copy()
            up[i] += STEP
            slope[i] = (scaled(up) - here) / STEP
        return slope

    reach = 6.0 * prior_sd / unit
    fit = minimize(
        scaled,
        np.zeros(len(start)),
        jac=gradient,
        method="L-BFGS-B",
        bounds=list(zip(-reach, reach, strict=True)),
        options={"maxiter": 10, "ftol": 1e-5, "gtol": 0.2} if closely else {"maxiter": 6, "ftol": 1e-4, "gtol": 0.5},
    )
    point = np.asarray(start + unit * fit.x, dtype=float)
    covariance = np.diag(prior_sd**2)
    if curved is not None:
        covariance = curvature(cost, point, float(fit.fun), prior_sd, np.flatnonzero(curved))
    return Mode(point, covariance, -float(fit.fun), count, bool(fit.success))


def curvature(
    cost: Callable[[FloatArray], float],
    point: FloatArray,
    value: float,
    prior_sd: FloatArray,
    along: NDArray[np.intp],
) -> FloatArray:
    """Covariance (m, m) along m coordinates from central second differences at half the prior sd."""
    m = len(along)
    sd = prior_sd[along]
    steps = np.zeros((m, len(point)))
    steps[np.arange(m), along] = 0.5 * sd
    plus = np.array([cost(point + s) for s in steps])
    minus = np.array([cost(point - s) for s in steps])
    hessian = np.diag((plus - 2.0 * value + minus) / (0.5 * sd) ** 2)
    for i in range(m):
        for j in range(i):
            mixed = cost(point + steps[i] + steps[j]) - plus[i] - plus[j] + value
            hessian[i, j] = hessian[j, i] = mixed / (0.5**2 * sd[i] * sd[j])
    size, axes = np.linalg.eigh(hessian * np.outer(sd, sd))
    size = np.maximum(size, 0.5)  # never wider than √2 of the prior
    return np.asarray((axes / size) @ axes.T * np.outer(sd, sd))


def weighted_points(log_density: Callable[[FloatArray], float], mode: Mode, n: int, seed: int) -> WeightedPoints:
    """n points weighted to the density, after rounds of half as many that say where to draw them.

    The curvature at the mode misjudges a skewed density, and a sharp one may lie beside a mode that was found roughly;
    the rounds' weighted mean and covariance do not (adaptive importance sampling, Oh & Berger 1992, from memory).
    """
    centre, covariance = mode.point, mode.covariance * 1.5
    for attempt in range(MOST_ROUNDS):
        first = _round(log_density, centre, covariance, n // 2, seed + 1000 * attempt)
        centre = first.weights @ first.points
        off = first.points - centre
        share = min(1.0, first.effective / (4.0 * len(centre)))  # few effective points: lean on the curvature
        covariance = share * (off * first.weights[:, None]).T @ off + (1.0 - share) * mode.covariance * 2.0
        covariance = covariance * 1.2
        if first.effective >= ENOUGH * n // 2:
            break
    return _round(log_density, centre, covariance, n, seed + 1)


def _round(
    log_density: Callable[[FloatArray], float], centre: FloatArray, covariance: FloatArray, n: int, seed: int
) -> WeightedPoints:
    """n points of a multivariate t about a centre, weighted by density over proposal."""
    k = len(centre)
    uniform = qmc.Sobol(k + 1, scramble=True, rng=seed).random_base2(int(np.ceil(np.log2(n))))[:n]
    uniform = np.clip(uniform, 1e-9, 1.0 - 1e-9)
    normal = ndtri(uniform[:, :k]) * np.sqrt(T_DOF / chi2.ppf(uniform[:, k], T_DOF))[:, None]
    points = centre + normal @ np.linalg.cholesky(covariance).T
    log_proposal = -0.5 * (T_DOF + k) * np.log1p(np.sum(normal**2, axis=1) / T_DOF)
    log_weight = np.array([log_density(x) for x in points]) - log_proposal
    weight = np.exp(log_weight - np.max(log_weight))
    weight /= np.sum(weight)
    return WeightedPoints(points, weight, 1.0 / float(np.sum(weight**2)))
