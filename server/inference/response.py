"""A quantity over one or two settings that were varied: the fitted curve, where it is best, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve
from scipy.stats import chi2, norm

from server.inference.gum import FloatArray

Kind = Literal["largest", "smallest"]
Bend = Literal["largest", "smallest", "saddle"]
GRID = 241
LEVEL = 0.95
SURE = 0.975


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


@dataclass(frozen=True, slots=True)
class Shape:
    """What stands where the slope is zero: the largest, the smallest, or in two settings a saddle; share: how sure."""

    bend: Bend
    share: float

    @property
    def sure(self) -> bool:
        """Whether 97.5 % of the curves that the values allow bend so."""
        return self.share > SURE


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
    inside = _slope_may_be_zero(response, grid)
    if not inside.any():
        low = high = np.full(factors, np.nan)
        return Optimum(None, low, high, bounded=False)
    found = shape(response)
    low, high = grid[inside].min(axis=0), grid[inside].max(axis=0)
    bounded = bool(found.bend == kind and found.sure and np.all((low > -1.0) & (high < 1.0)))
    best = _stationary(response) if found.bend == kind else None
    setting = None if best is None or np.any(np.abs(best) > 1.0) else response.centre + response.scale * best
    return Optimum(
        setting, response.centre + response.scale * low, response.centre + response.scale * high, bounded=bounded
    )


def region(response: Response, settings: FloatArray) -> NDArray[np.bool_]:
    """Which of the settings (n, f) may be the one where the slope is zero, with 95 %: see `optimum`."""
    return _slope_may_be_zero(response, (np.atleast_2d(settings) - response.centre) / response.scale)


def shape(response: Response) -> Shape:
    """How the curve bends where its slope is zero, and how many of the curves that the values allow bend so.

    One setting: by the normal distribution of b_11. Two: by the signs of the eigenvalues of the second derivatives
    (canonical analysis), over draws of the coefficients.

    Source: G. E. P. Box, K. B. Wilson, J. R. Stat. Soc. B 13 (1951) 1 (from memory).
    """
    b = response.coefficients
    if response.centre.size == 1:
        share = float(norm.cdf(abs(b[2]) / np.sqrt(response.covariance[2, 2])))
        return Shape("largest" if b[2] < 0.0 else "smallest", share)
    drawn = np.random.default_rng(20_260_101).multivariate_normal(b, response.covariance, 4000)
    bend = _bends(b[None])[0]
    return Shape(BENDS[bend], float(np.mean(_bends(drawn) == bend)))


BENDS: tuple[Bend, ...] = ("smallest", "largest", "saddle")


def _bends(b: FloatArray) -> NDArray[np.intp]:
    """Place in BENDS of each row of coefficients of two settings."""
    level = 4.0 * b[:, 3] * b[:, 5] - b[:, 4] ** 2 > 0.0
    return np.where(level, np.where(b[:, 3] > 0.0, 0, 1), 2)


def _slope_may_be_zero(response: Response, scaled: FloatArray) -> NDArray[np.bool_]:
    slopes = _slopes(scaled)
    g = slopes @ response.coefficients
    cov = slopes @ response.covariance @ np.swapaxes(slopes, 1, 2)
    statistic = np.einsum("ni,ni->n", g, np.linalg.solve(cov, g[:, :, None])[:, :, 0])
    return np.asarray(statistic <= chi2.ppf(LEVEL, response.centre.size))


def _stationary(response: Response) -> FloatArray:
    """Where the slope is zero, scaled."""
    hessian, b = _hessian(response.coefficients, response.centre.size), response.coefficients
    return np.asarray(solve(hessian, -b[1 : 1 + response.centre.size]))


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
