"""The joint posterior of a day: the Gaussian at the best noise, and draws that are integrated over the noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.day_grid import Point
from server.analysis.day_model import LinearDay
from server.analysis.day_prior_matrix import day_prior
from server.analysis.day_problem import DayProblem, kept_scale
from server.inference.noise_integration import Mode, WeightedPoints
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class DayPosterior:
    """Posterior of a day. Parameters are shared ones, then winds, scatters, zeros of each load source in units of
    `unit_zero`, their drifts in units of `unit_slope`, levels of standing joints front and rear, each
    block (n,) over the passes.

    mode_mean (p,), mode_covariance (p, p): the Gaussian at the best noise;
    prior_mean (p,) and mode_precision_prior (p, p): the prior at that noise; samples: (n, p);
    rows: whitened rows at the mode; residuals: those rows at the mode's mean.
    """

    problem: DayProblem
    point: Point
    linear: LinearDay
    mode: Mode
    points: WeightedPoints
    mode_mean: FloatArray
    mode_covariance: FloatArray
    mode_precision_prior: FloatArray
    prior_mean: FloatArray
    samples: FloatArray
    rows: FloatArray
    residuals: FloatArray
    values: dict[str, float]

    def scaled_prior(self) -> tuple[FloatArray, FloatArray]:
        """Precision (p, p) and mean (p,) of the prior in the columns' units, as deviations from the point."""
        mean, precision = day_prior(self.problem, self.point, self.values)
        return precision, mean

    def prior_without(self, places: np.ndarray) -> FloatArray:
        """That precision without what is stated of some parameters, so that the data speak for themselves; what the
        passes must not move stays where it is."""
        precision, _ = self.scaled_prior()
        kept = kept_scale(self.problem)
        if kept is not None:
            precision[kept, kept] = 1e9
        precision[places, places] = 1e-9
        return precision


def point_base(problem: DayProblem, point: Point) -> FloatArray:
    """The point of linearisation over all parameters, (p,); zeros and drifts are linear and stand at 0."""
    zeros = np.zeros((problem.grid.own - 2) * len(problem.grid.passes))
    return np.concatenate([point.theta, point.wind, point.scatter, zeros])
