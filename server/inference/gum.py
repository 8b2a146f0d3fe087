"""Uncertainty propagation by the GUM (JCGM 100:2008): inputs, sensitivities, budget, coverage."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.stats
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_STEP = 0.01  # of an input's u, for central differences
_SECOND_STEP = 0.1  # of an input's u, for higher derivatives
_RELATIVE_STEP = np.finfo(np.float64).eps ** (1.0 / 3.0)  # of the value, for an input without u


@dataclass(frozen=True, slots=True)
class TypeA:
    """Mean of repeated readings, standard uncertainty of the mean, standard deviation, degrees of freedom."""

    mean: float
    u: float
    standard_deviation: float
    dof: int


@dataclass(frozen=True, slots=True)
class Input:
    """An input quantity: value, standard uncertainty u in its own unit, degrees of freedom of that u."""

    name: str
    value: float
    u: float
    dof: float = math.inf


@dataclass(frozen=True, slots=True)
class Contribution:
    """An input's part in a result: sensitivity ∂f/∂x, and |∂f/∂x| u(x) in the result's unit."""

    of: Input
    sensitivity: float
    contribution: float


@dataclass(frozen=True, slots=True)
class Budget:
    """A result with its combined standard uncertainty u and where it came from.

    effective_dof is None for correlated inputs, for which the Welch-Satterthwaite formula does not hold.
    """

    value: float
    u: float
    contributions: tuple[Contribution, ...]
    effective_dof: float | None

    def expanded(self, level: float = 0.95) -> float:
        """Half the width of the coverage interval, U = t_level(ν_eff) u (GUM G.4), ν_eff truncated."""
        dof = math.inf if self.effective_dof is None else self.effective_dof
        return coverage_factor(dof, level) * self.u


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of limits ±a within which all values are alike: a/√3 (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def triangular_u(half_width: float) -> float:
    """Standard uncertainty of limits ±a with values near the middle more likely: a/√6 (GUM 4.3.9)."""
    return half_width / math.sqrt(6.0)


def arcsine_u(half_width: float) -> float:
    """Standard uncertainty of a quantity that swings as a sine within ±a: a/√2 (GUM H.1.3.4)."""
    return half_width / math.sqrt(2.0)


def type_a(readings: ArrayLike) -> TypeA:
    """Type A evaluation: u = s/√n with n - 1 degrees of freedom (GUM 4.2). readings: shape (n,), n ≥ 2."""
    q = np.asarray(readings, dtype=np.float64)
    if q.ndim != 1 or q.size < 2:
        raise ValueError("readings: at least two are needed")
    s = float(np.std(q, ddof=1))
    return TypeA(float(np.mean(q)), s / math.sqrt(q.size), s, q.size - 1)


def mean_covariance(readings: ArrayLike) -> FloatArray:
    """Covariance of the means of quantities read together (GUM 5.2.3). readings: (n, k). Returns (k, k)."""
    q = np.asarray(readings, dtype=np.float64)
    if q.ndim != 2 or q.shape[0] < 2:
        raise ValueError("readings: at least two rows are needed")
    return np.asarray(np.atleast_2d(np.cov(q, rowvar=False)) / q.shape[0])


def welch_satterthwaite(contributions: ArrayLike, dof: ArrayLike) -> float:
    """Effective degrees of freedom ν_eff = u_c⁴ / Σ (u_i⁴/ν_i) of independent contributions (GUM G.2b).

    contributions: u_i in one unit, shape (n,); dof: ν_i, shape (n,), may be infinite.
    Returns ν_eff, untruncated.
    """
    u, nu = np.asarray(contributions, dtype=np.float64), np.asarray(dof, dtype=np.float64)
    if np.any(nu <= 0.0):
        raise ValueError("dof must be above zero")
    loss = float(np.sum(u**4 / nu))
    return float(np.sum(u**2)) ** 2 / loss if loss > 0.0 else math.inf


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """Two-sided Student factor t_level(ν), ν truncated to a whole number (GUM G.4.1). dof at least 1."""
    if dof < 1.0:
        raise ValueError(f"dof must be at least 1, got {dof}")
    nu = math.floor(dof) if math.isfinite(dof) else math.inf
    return float(scipy.stats.t.ppf(0.5 * (1.0 + level), nu))


def jacobian(function: Callable[[FloatArray], ArrayLike], values: ArrayLike, u: ArrayLike) -> FloatArray:
    """Sensitivities ∂f_j/∂x_i by central differences over a hundredth of each u (GUM 5.1.3, note 2).

    function: x of shape (n,) → a number or shape (m,); values, u: shape (n,).
    Returns shape (m, n), or (1, n) for a number.
    """
    x, spread = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    step = np.where(spread > 0.0, _STEP * spread, _RELATIVE_STEP * np.maximum(np.abs(x), 1.0))
    columns = []
    for move, h in zip(np.diag(step), step, strict=True):
        change = np.asarray(function(x + move), dtype=np.float64) - np.asarray(function(x - move), dtype=np.float64)
        columns.append(np.atleast_1d(change / (2.0 * h)))
    return np.stack(columns, axis=-1)


def propagate_covariance(
    function: Callable[[FloatArray], ArrayLike], values: ArrayLike, covariance: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Several results of correlated inputs: V_y = J V_x Jᵀ (GUM H.2; JCGM 102:2011, 6.2.1).

    function: x of shape (n,) → shape (m,); values: (n,); covariance: V_x, (n, n).
    Returns f(x) of shape (m,) and V_y of shape (m, m).
    """
    x, V = np.asarray(values, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    if V.shape != (x.size, x.size):
        raise ValueError(f"covariance must have shape ({x.size}, {x.size})")
    J = jacobian(function, x, np.sqrt(np.diag(V)))
    return np.atleast_1d(np.asarray(function(x), dtype=np.float64)), J @ V @ J.T


def budget(
    function: Callable[[FloatArray], ArrayLike],
    inputs: Sequence[Input],
    correlation: ArrayLike | None = None,
) -> Budget:
    """The uncertainty budget of y = f(x): u² = Σ_i Σ_j c_i c_j u_i u_j r_ij (GUM eq. 10 and 16).

    function: x of shape (n,) → a number; inputs: n of them
    correlation: r, shape (n, n); absent: independent

    Raises ValueError where no inputs are given, or the correlation has another shape.
    """
    if not inputs:
        raise ValueError("inputs: at least one is needed")
    x, u, nu = (np.array([getattr(item, name) for item in inputs]) for name in ("value", "u", "dof"))
    parts = jacobian(function, x, u)[0]
    signed = parts * u
    if correlation is not None and np.shape(correlation) != (len(inputs), len(inputs)):
        raise ValueError(f"correlation must have shape ({len(inputs)}, {len(inputs)})")
    r = np.eye(len(inputs)) if correlation is None else np.asarray(correlation, dtype=np.float64)
    lines = tuple(
        Contribution(item, float(c), abs(float(cu))) for item, c, cu in zip(inputs, parts, signed, strict=True)
    )
    effective = welch_satterthwaite(signed, nu) if np.array_equal(r, np.eye(len(inputs))) else None
    return Budget(float(np.asarray(function(x))), math.sqrt(float(signed @ r @ signed)), lines, effective)


def second_order_variance(function: Callable[[FloatArray], ArrayLike], values: ArrayLike, u: ArrayLike) -> FloatArray:
    """What the next terms of the series add to the variance of f, by pairs of independent inputs.

    [ ½ (∂²f/∂x_i∂x_j)² + ∂f/∂x_i ∂³f/∂x_i∂x_j² ] u_i² u_j²  (GUM 5.1.2, note)

    function: x of shape (n,) → a number; values, u: shape (n,). Returns shape (n, n): the sum of all elements
    is the addition; it matters where the first derivatives vanish, as in a product of two inputs about zero.
    """
    x, spread = np.asarray(values, dtype=np.float64), np.asarray(u, dtype=np.float64)
    moves = np.diag(_SECOND_STEP * spread)

    def f(shift: FloatArray) -> float:
        return float(np.asarray(function(x + shift)))

    first = np.array([(f(a) - f(-a)) / (2.0 * _SECOND_STEP) for a in moves])
    terms = np.zeros((x.size, x.size))
    for i, a in enumerate(moves):
        for j, b in enumerate(moves):
            mixed = (f(a + b) - f(a - b) - f(b - a) + f(-a - b)) / (4.0 * _SECOND_STEP**2)
            bend = (f(a + b) - 2.0 * f(a) + f(a - b)) - (f(b - a) - 2.0 * f(-a) + f(-a - b))
            terms[i, j] = 0.5 * mixed**2 + first[i] * bend / (2.0 * _SECOND_STEP**3)
    return terms
