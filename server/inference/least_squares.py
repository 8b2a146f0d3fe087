"""Least squares, linear and nonlinear, with a covariance that survives badly scaled columns.

Columns are scaled to unit length before they are orthogonalised: designs of v and v² or of 1 and x⁵ differ by
many powers of ten, and unscaled normal equations lose half of the digits. Checked against NIST's Statistical
Reference Datasets.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.optimize
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_REFINEMENTS = 3
_CENTRAL_STEP = np.finfo(np.float64).eps ** (1.0 / 3.0)


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquaresFit:
    """What a fit of p parameters to n observations found.

    estimate: (p,); covariance: (p, p), None where the data do not determine it (rank below p, or nothing left
    over to judge the scatter by); residuals: response - model, in the response's unit, (n,)
    residual_sd: sqrt(RSS/dof), of the weighted residuals where weights were given; None for dof 0
    dof: n - p; rank: of the design; condition: of the design with columns of unit length
    converged: whether the search ended at a minimum (True for a linear fit); message: the search's last word
    """

    estimate: FloatArray
    covariance: FloatArray | None
    residuals: FloatArray
    residual_sd: float | None
    dof: int
    rank: int
    condition: float
    converged: bool = True
    message: str = ""

    @property
    def u(self) -> FloatArray | None:
        """Standard uncertainties of the estimate, (p,), or None."""
        return None if self.covariance is None else np.sqrt(np.diag(self.covariance))

    @property
    def correlation(self) -> FloatArray | None:
        """Correlation matrix of the estimate, (p, p), or None."""
        if self.covariance is None or self.u is None:
            return None
        return np.asarray(self.covariance / np.outer(self.u, self.u))


def linear_least_squares(design: ArrayLike, response: ArrayLike, u: ArrayLike | None = None) -> LeastSquaresFit:
    """Fit y = X b by the singular values of the column-scaled design, refined in extended precision.

    b = argmin Σ ((y - X b)_i / u_i)²;  cov(b) = (Xᵀ W X)⁻¹, times RSS/dof where u is not given

    design: X, shape (n, p); response: y, shape (n,)
    u: standard uncertainties of y, shape (n,) or a number: then the covariance rests on them alone

    With a rank below p the estimate is the one of least length in scaled columns and has no covariance.
    Raises ValueError for shapes that do not fit, values that are not finite, or u not above zero.
    Source: Å. Björck, Numerical Methods for Least Squares Problems, SIAM 1996, ch. 2.
    """
    X, y = _observations(design, response)
    weight = _weights(u, len(y))
    A = X * weight[:, np.newaxis]
    solver = _ScaledSolver(A)
    b = _refined(solver, A, y * weight)
    residuals = y - X @ b
    return _fit(solver, b, residuals, residuals * weight, known_u=u is not None)


def nonlinear_least_squares(
    residuals: Callable[[FloatArray], FloatArray],
    start: ArrayLike,
    jacobian: Callable[[FloatArray], FloatArray] | None = None,
    *,
    known_u: bool = False,
    max_evaluations: int = 2000,
) -> LeastSquaresFit:
    """Minimise Σ r_i(b)² by Levenberg-Marquardt with scaled variables, then the covariance from J.

    cov(b) = (Jᵀ J)⁻¹, times RSS/dof unless the residuals are already in units of their uncertainty

    residuals: b of shape (p,) → model - response or response - model, shape (n,), n ≥ p
    start: first guess of b, shape (p,)
    jacobian: b → ∂r/∂b, shape (n, p); central differences where it is not given
    known_u: the residuals are divided by their standard uncertainties [-]

    Raises ValueError for fewer observations than parameters or a start without finite residuals.
    Source: J. J. Moré, "The Levenberg-Marquardt algorithm", 1978 (MINPACK); covariance as for a linear fit.
    """
    b0 = np.atleast_1d(np.asarray(start, dtype=np.float64))
    first = residuals(b0)
    if first.size < b0.size:
        raise ValueError(f"residuals: {first.size} observations cannot fix {b0.size} parameters")
    if not np.all(np.isfinite(first)):
        raise ValueError("start: the residuals there are not finite")
    slope = jacobian if jacobian is not None else _central_differences(residuals)
    with np.errstate(over="ignore", invalid="ignore"):  # a trial step may overflow the model; it is then refused
        found = scipy.optimize.least_squares(
            residuals, b0, slope, method="lm", x_scale="jac", ftol=1e-15, xtol=1e-15, gtol=1e-15,
            max_nfev=max_evaluations,
        )  # fmt: skip
        b = _polish(residuals, slope, np.asarray(found.x))
    r, J = residuals(b), slope(b)
    known = J if np.all(np.isfinite(J)) else np.zeros_like(J)
    return _fit(
        _ScaledSolver(known),
        b,
        r,
        r,
        known_u=known_u,
        converged=bool(found.success),
        message=found.message,
    )


def estimator_weights(design: ArrayLike) -> FloatArray:
    """Rows w of the linear estimate b = W y, so that anything known of y can be carried to b.

    design: X, shape (n, p). Returns W = (Xᵀ X)⁻¹ Xᵀ, shape (p, n).
    """
    return _ScaledSolver(np.asarray(design, dtype=np.float64)).pseudo_inverse()


def polynomial_design(x: ArrayLike, powers: tuple[int, ...]) -> FloatArray:
    """Columns x^k for each power k. x: shape (n,). Returns shape (n, p)."""
    column = np.asarray(x, dtype=np.float64)
    return np.stack([column**power for power in powers], axis=-1)


class _ScaledSolver:
    """Solutions with one design by its singular values with columns of unit length, A = U S Vᵀ · scale.

    Below full rank the solution is the shortest in scaled columns.
    """

    def __init__(self, design: FloatArray) -> None:
        length = np.linalg.norm(design, axis=0)
        self.scale = np.where(length > 0.0, length, 1.0)
        self.left, self.singular, self.right = np.linalg.svd(design / self.scale, full_matrices=False)
        tolerance = max(design.shape) * np.finfo(np.float64).eps * self.singular[0]
        self.rank = int(np.sum(self.singular > tolerance))
        self.full = self.rank == design.shape[1]
        self.condition = float(self.singular[0] / self.singular[-1]) if self.full else float("inf")

    def solve(self, response: FloatArray) -> FloatArray:
        """b that minimises |response - A b|."""
        return np.asarray(self.pseudo_inverse() @ response)

    def pseudo_inverse(self) -> FloatArray:
        """A⁺ = V S⁻¹ Uᵀ / scale, (p, n)."""
        k = self.rank
        inverse = self.right[:k].T / self.singular[:k] @ self.left[:, :k].T
        return np.asarray(inverse / self.scale[:, np.newaxis])

    def solve_augmented(self, upper: FloatArray, lower: FloatArray) -> tuple[FloatArray, FloatArray]:
        """r and b of r + A b = upper, Aᵀ r = lower, for full rank."""
        inside = self.left.T @ upper - self.right @ (lower / self.scale) / self.singular
        return upper - self.left @ inside, self.right.T @ (inside / self.singular) / self.scale

    def inverse_normal(self) -> FloatArray:
        """(Aᵀ A)⁻¹ = B Bᵀ with B = V S⁻¹ / scale, (p, p)."""
        half = self.right.T / self.singular / self.scale[:, np.newaxis]
        return np.asarray(half @ half.T)


def _observations(design: ArrayLike, response: ArrayLike) -> tuple[FloatArray, FloatArray]:
    X, y = np.asarray(design, dtype=np.float64), np.asarray(response, dtype=np.float64)
    if X.ndim != 2 or y.shape != (X.shape[0],):
        raise ValueError(f"design {X.shape} and response {y.shape} do not fit together")
    if X.shape[0] < X.shape[1]:
        raise ValueError(f"design: {X.shape[0]} observations cannot fix {X.shape[1]} parameters")
    if not (np.all(np.isfinite(X)) and np.all(np.isfinite(y))):
        raise ValueError("design and response must be finite")
    return X, y


def _weights(u: ArrayLike | None, n: int) -> FloatArray:
    if u is None:
        return np.ones(n)
    sd = np.broadcast_to(np.asarray(u, dtype=np.float64), (n,))
    if not np.all(np.isfinite(sd) & (sd > 0.0)):
        raise ValueError("u must be above zero")
    return np.asarray(1.0 / sd)


def _refined(solver: _ScaledSolver, A: FloatArray, y: FloatArray) -> FloatArray:
    """Solution of r + A b = y, Aᵀ r = 0 refined as one system, its residuals in extended precision.

    Björck 1996, sec. 2.9.3; without it a large r spoils b by the square of the condition.
    """
    b = solver.solve(y)
    if not solver.full:
        return b
    r = y - A @ b
    wide, wide_y = A.astype(np.longdouble), y.astype(np.longdouble)
    for _ in range(_REFINEMENTS):
        upper = np.asarray(wide_y - r.astype(np.longdouble) - wide @ b.astype(np.longdouble), dtype=np.float64)
        lower = np.asarray(-(wide.T @ r.astype(np.longdouble)), dtype=np.float64)
        change_r, change_b = solver.solve_augmented(upper, lower)
        r, b = r + change_r, b + change_b
    return b


def _fit(
    solver: _ScaledSolver,
    b: FloatArray,
    residuals: FloatArray,
    weighted: FloatArray,
    *,
    known_u: bool,
    converged: bool = True,
    message: str = "",
) -> LeastSquaresFit:
    dof = weighted.size - b.size
    residual_sd = float(np.linalg.norm(weighted) / np.sqrt(dof)) if dof > 0 else None
    factor = 1.0 if known_u else residual_sd
    covariance = solver.inverse_normal() * factor**2 if solver.full and factor is not None else None
    return LeastSquaresFit(
        b, covariance, residuals, residual_sd, dof, solver.rank, solver.condition, converged, message
    )


def _polish(
    residuals: Callable[[FloatArray], FloatArray], slope: Callable[[FloatArray], FloatArray], b: FloatArray
) -> FloatArray:
    """A few Gauss-Newton steps, each kept only where it lowers the sum of squares."""
    best = float(np.sum(residuals(b) ** 2))
    for _ in range(_REFINEMENTS):
        J = slope(b)
        if not np.all(np.isfinite(J)):
            break
        trial = b - _ScaledSolver(J).solve(residuals(b))
        total = float(np.sum(residuals(trial) ** 2)) if np.all(np.isfinite(trial)) else np.inf
        if not total < best:
            break
        b, best = trial, total
    return b


def _central_differences(
    residuals: Callable[[FloatArray], FloatArray],
) -> Callable[[FloatArray], FloatArray]:
    def slope(b: FloatArray) -> FloatArray:
        step = _CENTRAL_STEP * np.where(b == 0.0, 1.0, np.abs(b))
        moves = np.diag(step)
        columns = [(residuals(b + move) - residuals(b - move)) / (2.0 * h) for move, h in zip(moves, step, strict=True)]
        return np.stack(columns, axis=-1)

    return slope
