"""What a fitted day says of a constant that its model does not have: one more column beside those of the posterior.

With the whitened rows e + E z, the prior's precision P and more columns m with weak priors of their own,

    S = mᵀm − mᵀE (EᵀE + P)⁻¹ Eᵀm + P_m,   δ̂ = −S⁻¹ mᵀr,   cov δ̂ = S⁻¹,

r the residuals at the posterior's mean, where everything else is free to give way. The noise is the fit's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.day_evidence import normal_equations, row_scores
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_problem import kept_scale
from server.testday.values import FloatArray

FIXED = 1e12


@dataclass(frozen=True, slots=True, eq=False)
class Added:
    """Estimates of the added constants, (k,), and their covariance, (k, k)."""

    value: FloatArray
    covariance: FloatArray


class ColumnAdder:
    """Adds columns to one posterior; the costly inverse is made once."""

    def __init__(self, posterior: DayPosterior) -> None:
        grid = posterior.problem.grid
        self._posterior, self._n, self._own = posterior, len(grid.passes), grid.own
        information, _, _ = normal_equations(posterior.rows, posterior.linear.row_pass, self._n, self._own)
        precision, _ = posterior.scaled_prior()
        kept = kept_scale(posterior.problem)
        if kept is not None:
            precision[kept, kept] = FIXED
        self._covariance = np.linalg.inv(information + precision)

    def column(self, parameter: str, passes: Sequence[int]) -> FloatArray:
        """A shared parameter's column [1/its unit], in the rows of these passes alone."""
        problem = self._posterior.problem
        place = problem.priors.index(parameter)
        mine = np.isin(self._posterior.linear.row_pass, np.asarray(passes, dtype=int))
        return np.asarray(self._posterior.rows[:, 1 + place] * mine / problem.priors.u[place])

    def solve(self, columns: FloatArray, prior_u: FloatArray) -> Added:
        """The constants of columns (rows, k), each with a prior of 0 ± prior_u."""
        posterior = self._posterior
        link = row_scores(posterior.rows, posterior.linear.row_pass, columns, self._n, self._own)
        information = columns.T @ columns - link.T @ self._covariance @ link + np.diag(prior_u**-2.0)
        covariance = np.asarray(np.linalg.inv(information))
        return Added(-covariance @ (columns.T @ posterior.residuals), covariance)
