"""A quantity over one or two settings that were varied: the fitted curve, where it is best, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve
from scipy.stats import chi2

from server.inference.gum import FloatArray

Kind = Literal["largest", "smallest"]
GRID = 241
LEVEL = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """y = b0 + Σ b_i x_i + Σ_{i ≤ j} b_ij x_i x_j over scaled settings x = (setting − centre)/scale.

    coefficients: (p,) in the order 1, x1, (x2,) x1², (x1 x2, x2²); covariance: (p, p); centre, scale: (f,);
    statistic, dof: lack of fit, χ² of the residuals with n − p degrees of freedom.
    """

    coefficients: FloatArray
    covariance: FloatArray
    centre: FloatArray
    scale: FloatArray
    statistic: float
    dof: int

    @property
    def lack_p(self) -> float:
        """How often points of such a curve lie as far off; 1 where nothing is left over to judge by."""
        return float(chi2.sf(self.statistic, self.dof)) if self.dof > 0 else 1.0

    def value(self, settings: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The curve and its standard uncertainty at settings (n, f), each (n,)."""
        row = _terms((np.atleast_2d(settings) - self.centre) / self.scale)
        return row @ self.coefficients, np.sqrt(np.einsum("ij,jk,ik->i", row, self.covariance, row))


@dataclass(frozen=True, slots=True, eq=False)
class Optimum:
    """Where a response is largest or smallest, of one kind, within the settings that were tried.

    setting: (f,), None where the best lies at the edge of what was tried; low, high: 95 % bounds of each setting,
    (f,): of the settings tried, those at which the slope may be zero and the curve bends the right way.
    """

    setting: FloatArray | None
    low: FloatArray
    high: FloatArray
    bounded: bool


def fit_response(settings: FloatArray, values: FloatArray, covariance: FloatArray) -> Response:
    """Generalised least squares of a full quadratic in one or two settings.

    b = (Xᵀ V⁻¹ X)⁻¹ Xᵀ V⁻¹ y,  cov b = (Xᵀ V⁻¹ X)⁻¹

    settings: (n, f), f one or two; values: (n,); covariance: joint covariance of the values, (n, n)

    Raises ValueError where there are fewer distinct settings than coefficients, or the covariance is singular.
    Source: D. C. Montgomery, Design and Analysis of Experiments, ch. 11; A. C. Aitken 1935 (from memory).
    """
    x = np.atleast_2d(np.asarray(settings, float))
    y, v = np.asarray(values, float), np.asarray(covariance, float)
    if x.shape[0] != y.size or v.shape != (y.size, y.size):
        raise ValueError("settings, values, covariance: their shapes do not fit")
    if x.shape[1] not in (1, 2):
        raise ValueError("settings: one or two can be varied")
    low, high = x.min(axis=0), x.max(axis=0)
    centre, scale = 0.5 * (low + high), 0.5 * (high - low)
    if not np.all(scale > 0.0):
        raise ValueError("settings: one of them was never varied")
    design = _terms((x - centre) / scale)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise ValueError(f"settings: {design.shape[1]} coefficients need more distinct settings")
    try:
        factor = cho_factor(v)
    except np.linalg.LinAlgError:
        raise ValueError("covariance: is singular") from None
    weighted = cho_solve(factor, np.column_stack([design, y]))
    inverse = np.asarray(np.linalg.inv(design.T @ weighted[:, :-1]), float)
    coefficients = inverse @ (design.T @ weighted[:, -1])
    residual = y - design @ coefficients
    statistic = float(residual @ cho_solve(factor, residual))
    return Response(coefficients, inverse, centre, scale, statistic, y.size - design.shape[1])


def optimum(response: Response, kind: Kind) -> Optimum:
    """The best setting and its 95 % region, after Box and Hunter; with one setting this is Fieller's.

    The region holds the settings x at which the slope g(x) = ∂y/∂x may be zero:
    g(x)ᵀ [cov g(x)]⁻¹ g(x) ≤ χ²_f(0.95), and no curvature of the wrong sign beyond its own doubt.

    Source: G. E. P. Box, J. S. Hunter, Biometrika 41 (1954) 190; E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175
    (from memory).
    """
    factors = response.centre.size
    axes = [np.linspace(-1.0, 1.0, GRID)] * factors
    grid = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    slopes = _slopes(grid)
    g = slopes @ response.coefficients
    cov = slopes @ response.covariance @ np.swapaxes(slopes, 1, 2)
    statistic = np.einsum("ni,ni->n", g, np.linalg.solve(cov, g[:, :, None])[:, :, 0])
    inside = statistic <= chi2.ppf(LEVEL, factors)
    best, right = _stationary(response, kind)
    if not inside.any():
        low = high = np.full(factors, np.nan)
        return Optimum(None, low, high, bounded=False)
    low, high = grid[inside].min(axis=0), grid[inside].max(axis=0)
    bounded = bool(right and np.all((low > -1.0) & (high < 1.0)))
    setting = None if best is None or np.any(np.abs(best) > 1.0) else response.centre + response.scale * best
    return Optimum(
        setting, response.centre + response.scale * low, response.centre + response.scale * high, bounded=bounded
    )


def _stationary(response: Response, kind: Kind) -> tuple[FloatArray | None, bool]:
    """Where the slope is zero, scaled; None where the curve bends the wrong way there; and whether it surely bends."""
    hessian, b = _hessian(response.coefficients, response.centre.size), response.coefficients
    sign = -1.0 if kind == "largest" else 1.0
    if np.any(sign * np.linalg.eigvalsh(hessian) <= 0.0):
        return None, False
    if response.centre.size == 1:
        surely = abs(b[2]) > 1.959964 * np.sqrt(response.covariance[2, 2])
    else:
        surely = _surely_bent(response, sign)
    return np.asarray(solve(hessian, -b[1 : 1 + response.centre.size])), bool(surely)


def _surely_bent(response: Response, sign: float) -> bool:
    """Whether 97.5 % of drawn curves bend the right way in every direction."""
    draws = np.random.default_rng(20_260_101).multivariate_normal(response.coefficients, response.covariance, 4000)
    first, cross, second = 2.0 * sign * draws[:, 3], draws[:, 4], 2.0 * sign * draws[:, 5]
    return bool(np.mean((first > 0.0) & (first * second - cross**2 > 0.0)) > 0.975)


def _terms(x: FloatArray) -> FloatArray:
    columns = [np.ones(len(x)), *x.T, x[:, 0] ** 2]
    if x.shape[1] == 2:
        columns += [x[:, 0] * x[:, 1], x[:, 1] ** 2]
    return np.column_stack(columns)


def _slopes(x: FloatArray) -> FloatArray:
    """∂(terms)/∂x at each point, (n, f, p)."""
    one, nil = np.ones(len(x)), np.zeros(len(x))
    if x.shape[1] == 1:
        return np.stack([np.column_stack([nil, one, 2.0 * x[:, 0]])], axis=1)
    first = np.column_stack([nil, one, nil, 2.0 * x[:, 0], x[:, 1], nil])
    second = np.column_stack([nil, nil, one, nil, x[:, 0], 2.0 * x[:, 1]])
    return np.stack([first, second], axis=1)


def _hessian(b: FloatArray, factors: int) -> FloatArray:
    if factors == 1:
        return np.array([[2.0 * b[2]]])
    return np.array([[2.0 * b[3], b[4]], [b[4], 2.0 * b[5]]])
