"""Is SCz constant over ride height? The constant model's lack of fit, judged by a parametric bootstrap.

Both axles of a setup may bend: SCz (1 + B ξ), ξ the sink beyond the reference condition's as a share of it. What the
data alone say of B = (B_front, B_rear) is b with information J (the prior of B taken out of the posterior); the
statistic is bᵀ J b. Its distribution when nothing bends comes from days simulated with the fitted noise, whose
strength is itself drawn from its posterior, and from inputs drawn within what was stated of them; an F or a
chi-square table would hold only if the noise were known.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from server.analysis.day_evidence import normal_equations, row_scores
from server.analysis.day_model import with_gusts
from server.analysis.day_noise import filter_noise, gust_exponent
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_problem import place_of_bend
from server.analysis.load_data import AXLE_OF
from server.inference.augmented_simulation import draw_random_part, whitened_column
from server.testday.values import FloatArray

REPLICATES = 399
LEVEL = 0.05
LEAST_LOAD_N = 120.0  # on an axle at the reference condition


def bend_statistics(
    posterior: DayPosterior, seed: int = 1, replicates: int = REPLICATES
) -> dict[str, tuple[float, float]]:
    """Setup → (statistic, p) of 'SCz does not change with ride height'; empty where no loads are measured."""
    names = [s for s in posterior.problem.setup_names if s in posterior.problem.measured_setups]
    if not names:
        return {}
    values = posterior.values
    noise = filter_noise(values)
    segments = with_gusts(posterior.linear, noise.gust_sd, gust_exponent(values))
    rows, grid = posterior.rows, posterior.problem.grid
    information, score, _ = normal_equations(rows, posterior.linear.row_pass, len(grid.passes), grid.own)
    precision, centre = posterior.scaled_prior()
    places = {s: tested_bends(posterior, s) for s in names}
    names = [s for s in names if len(places[s])]
    if not names:
        return {}
    solver = _Solver(posterior, information, {s: places[s] for s in names})
    at = posterior.point.theta / posterior.problem.priors.u  # the model is linearised about a bend already
    seen = solver.statistics(precision @ centre - score, at)
    larger = dict.fromkeys(names, 0)
    rng = np.random.default_rng([seed, 0xBE])
    residuals = np.empty((len(segments.y), replicates))
    for i, drawn in enumerate(_noise_draws(posterior, replicates, rng)):
        theirs = filter_noise(drawn)
        simulated = with_gusts(posterior.linear, theirs.gust_sd, gust_exponent(drawn))
        residuals[:, i] = whitened_column(segments, noise, draw_random_part(simulated, theirs, rng))
    scores = row_scores(rows, posterior.linear.row_pass, residuals, len(grid.passes), grid.own)
    # inputs within what was stated of them; the bend itself is nil
    deviations = np.linalg.solve(np.linalg.cholesky(precision).T, rng.standard_normal((len(precision), replicates)))
    deviations[solver.all_bends] = 0.0
    for right in (information @ deviations - scores).T:
        found = solver.statistics(right)
        for name in names:
            larger[name] += found[name] >= seen[name]
    return {s: (seen[s], (1.0 + larger[s]) / (replicates + 1.0)) for s in names}


def tested_bends(posterior: DayPosterior, setup: str) -> np.ndarray:
    """Columns of the bends that can be tested: of axles whose load at the reference condition is well above the
    friction of their joints; what a smaller load does over ride height, friction decides."""
    problem, columns = posterior.problem, []
    grid = problem.grid
    pressure = 0.5 * grid.reference_density_kgm3 * grid.reference_speed_mps**2
    for end, column in zip(("front", "rear"), place_of_bend(problem, setup), strict=True):
        if not any(AXLE_OF[kind] == end for kind in grid.load_kinds):
            continue
        load = pressure * float(posterior.mode_mean[problem.priors.index(f"scz_{end}:{setup}")])
        friction = 2.0 * float(posterior.mode_mean[problem.priors.index(f"joint_{end}")])
        if load > max(LEAST_LOAD_N, 1.5 * friction):
            columns.append(column)
    return np.array(columns, dtype=int)


class _Solver:
    """Statistics of every setup's bend for any right-hand side of the normal equations."""

    def __init__(self, posterior: DayPosterior, information: FloatArray, places: Mapping[str, np.ndarray]) -> None:
        self.all_bends = np.concatenate(list(places.values()))
        self.covariance = np.linalg.inv(information + posterior.prior_without(self.all_bends))
        self.places = places

    def statistics(self, right: FloatArray, at: FloatArray | None = None) -> dict[str, float]:
        """bᵀ J b of each setup; right: P μ − Eᵀe_0; at: shared parameters of the point, in units of prior u."""
        mean = self.covariance @ right
        if at is not None:
            mean[: len(at)] += at
        found = {}
        for name, place in self.places.items():
            block = self.covariance[np.ix_(place, place)]
            found[name] = float(mean[place] @ np.linalg.solve(block, mean[place]))
        return found


def _noise_draws(posterior: DayPosterior, count: int, rng: np.random.Generator) -> list[dict[str, float]]:
    """Noise values drawn from the weighted points; terms that are not integrated stand at their best."""
    points, problem = posterior.points, posterior.problem
    chosen = rng.choice(len(points.weights), size=count, p=points.weights)
    draws = []
    for i in chosen:
        log = posterior.mode.point.copy()
        log[problem.noise.integrated] = points.points[i]
        draws.append(problem.noise.values(log))
    return draws
