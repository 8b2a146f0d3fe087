"""The common value of several that scatter by more than their errors, where some of the errors are shared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

POINTS = 400
LEAST, MOST = 1e-4, 1e3  # of the values' own spread: how far the scatter is looked for


@dataclass(frozen=True, slots=True)
class CommonValue:
    """value, u and 95 % interval of the mean; scatter: how far a single one differs from it, one sd, median and
    95 % interval."""

    value: float
    u: float
    low95: float
    high95: float
    scatter: float
    scatter_low95: float
    scatter_high95: float


def common_value(values: ArrayLike, covariance: ArrayLike) -> CommonValue:
    """The mean μ of y_i = μ + b_i + e_i with b_i ~ N(0, τ²) and errors e ~ N(0, V), integrated over τ.

    p(τ | y) ∝ p(τ) p(z | τ),  z = n − 1 contrasts of y,  p(τ) ∝ √Σ (τ/(λ_i + τ²))², λ of the contrasts' covariance
    μ | τ ~ N(1ᵀW y/1ᵀW1, 1/1ᵀW1),  W = (V + τ² I)⁻¹

    values: y, (n,), n ≥ 3; covariance: V, (n, n), what all share included: it widens μ and hides from the scatter.
    The prior is Jeffreys'; where V is nothing beside the scatter, μ has Student's t with n − 1 degrees of freedom.
    Raises ValueError for other shapes.
    Source: random-effects mean; Jeffreys prior of τ as in C. Röver, J. Stat. Softw. 93 (2020), section 2.2 (from
    memory), here for correlated errors.
    """
    y, v = np.asarray(values, float), np.asarray(covariance, float)
    if y.ndim != 1 or y.size < 3 or v.shape != (y.size, y.size):
        raise ValueError("values, covariance: at least three values, and a covariance of as many")
    contrasts = _contrasts(y.size)
    eigen, turn = np.linalg.eigh(contrasts @ v @ contrasts.T)
    eigen, z = np.maximum(eigen, 0.0), turn.T @ (contrasts @ y)
    size = float(np.sqrt(np.mean(z**2) + np.mean(eigen)))
    if size == 0.0:
        size = max(abs(float(np.mean(y))), 1.0) * 1e-9
    tau = size * np.geomspace(LEAST, MOST, POINTS)
    spread = eigen[None] + tau[:, None] ** 2
    prior = np.sqrt(np.sum((tau[:, None] / spread) ** 2, axis=1))
    log_p = np.log(prior) + np.log(tau) - 0.5 * np.sum(np.log(spread) + z[None] ** 2 / spread, axis=1)
    weights = np.exp(log_p - np.max(log_p))
    weights /= np.sum(weights)
    means, variances = _given_scatter(y, v, tau)
    value = float(weights @ means)
    u = float(np.sqrt(weights @ (variances + (means - value) ** 2)))
    low, high = (_mixture_quantile(p, weights, means, np.sqrt(variances)) for p in (0.025, 0.975))
    below = np.cumsum(weights)
    scatter = [float(np.interp(p, below, tau)) for p in (0.5, 0.025, 0.975)]
    return CommonValue(value, u, low, high, *scatter)


def _contrasts(n: int) -> FloatArray:
    """n − 1 orthonormal rows, each adding up to zero (Helmert)."""
    rows = np.zeros((n - 1, n))
    for k in range(1, n):
        rows[k - 1, :k] = 1.0 / np.sqrt(k * (k + 1.0))
        rows[k - 1, k] = -k / np.sqrt(k * (k + 1.0))
    return rows


def _given_scatter(y: FloatArray, v: FloatArray, tau: FloatArray) -> tuple[FloatArray, FloatArray]:
    eigen, turn = np.linalg.eigh(v)
    ones, turned = turn.T @ np.ones(y.size), turn.T @ y
    weights = 1.0 / (np.maximum(eigen, 0.0)[None] + tau[:, None] ** 2)
    total = np.sum(weights * ones[None] ** 2, axis=1)
    return np.sum(weights * (ones * turned)[None], axis=1) / total, 1.0 / total


def _mixture_quantile(p: float, weights: FloatArray, means: FloatArray, sds: FloatArray) -> float:
    from scipy.optimize import brentq
    from scipy.special import ndtr

    kept = weights > 1e-12
    w, m, s = weights[kept], means[kept], sds[kept]
    reach = float(np.max(np.abs(m - m[0]) + 40.0 * s)) + 1e-300

    def above(x: float) -> float:
        return float(w @ ndtr((x - m) / s) / np.sum(w)) - p

    return float(brentq(above, float(m[0]) - reach, float(m[0]) + reach, xtol=1e-9 * reach))
