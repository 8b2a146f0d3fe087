"""The prior of all parameters of a day as one mean and one precision, those of the passes' own included."""

from __future__ import annotations

import numpy as np

from server.analysis.day_grid import Point
from server.analysis.day_priors import SPEED_NAMES, scatter_covariance, wind_prior
from server.analysis.day_problem import DayProblem
from server.analysis.load_data import AXLE_OF
from server.analysis.load_priors import BEND_HIDDEN, BEND_SEEN, zero_prior
from server.testday.values import FloatArray

WIND_LEVEL_U_MPS = 2.5


def day_prior(problem: DayProblem, point: Point, values: dict[str, float]) -> tuple[FloatArray, FloatArray]:
    """Prior mean and precision of the deviations from the point."""
    priors, passes = problem.priors, problem.grid.passes
    p, n = len(priors.parameters), len(passes)
    own = problem.grid.own
    precision = np.zeros((p + own * n, p + own * n))
    mean = np.zeros(p + own * n)
    mean[:p] = (priors.mean - point.theta) / priors.u
    scale = np.ones(p)
    waves = [i for i, q in enumerate(priors.parameters) if q.name.startswith("wave_")]
    if waves:
        count = len({priors.parameters[i].name.split("_")[2] for i in waves})
        scale[waves] = (priors.u[waves] / (values["wave"] / np.sqrt(count))) ** 2
    if len(problem.bent):
        scale[list(problem.bent)] = (BEND_HIDDEN / BEND_SEEN) ** 2
    precision[np.arange(p), np.arange(p)] = scale
    speeds = [priors.index(name) for name in SPEED_NAMES]
    precision[np.ix_(speeds, speeds)] = np.linalg.inv(priors.speed_correlation)
    wind_mean, precision[p : p + n, p : p + n] = _wind_prior(problem, values["slow_wind"])
    mean[p : p + n] = wind_mean - point.wind
    scatters = slice(p + n, p + 2 * n)
    precision[scatters, scatters] = _scatter_precision(problem, values["scatter"])
    mean[scatters] = -point.scatter
    if problem.grid.load_kinds:
        _put_zeros(problem, values["zero_drift"], mean, precision)
    return mean, precision


def _wind_prior(problem: DayProblem, slow_mps: float) -> tuple[FloatArray, FloatArray]:
    """Mean and precision of the passes' winds; kept, since most looks at the noise leave the slow wind alone."""
    known = problem.wind_priors.get(slow_mps)
    if known is None:
        mean, covariance = wind_prior(problem.grid.passes, problem.air, WIND_LEVEL_U_MPS, slow_mps)
        known = problem.wind_priors[slow_mps] = (mean, np.asarray(np.linalg.inv(covariance)))
    return known


def _scatter_precision(problem: DayProblem, sd: float) -> FloatArray:
    known = problem.scatter_priors.get(sd)
    if known is None:
        known = np.asarray(np.linalg.inv(scatter_covariance(problem.grid.passes, sd)))
        problem.scatter_priors[sd] = known
    return known


def _put_zeros(problem: DayProblem, drift_m: float, mean: FloatArray, precision: FloatArray) -> None:
    """The prior of every source's zeros and drifts, into its places."""
    grid, p = problem.grid, len(problem.priors.parameters)
    n, kinds = len(grid.passes), len(grid.load_kinds)
    for k, (centre, inverse) in enumerate(_zero_priors(problem, drift_m)):
        start = p + 2 * n
        place = np.concatenate([start + k * n + np.arange(n), start + (kinds + k) * n + np.arange(n)])
        precision[np.ix_(place, place)] = inverse
        mean[place] = centre
    turned = np.arange(p + (2 + 2 * kinds) * n, p + grid.own * n)
    precision[turned, turned] = 1.0


def _zero_priors(problem: DayProblem, drift_m: float) -> list[tuple[FloatArray, FloatArray]]:
    """Mean and precision of every source's zeros; kept, since most looks at the noise leave the drift alone."""
    known = problem.zero_priors.get(drift_m)
    if known is None:
        grid, known = problem.grid, []
        assert grid.loads is not None
        for kind in grid.load_kinds:
            spring = grid.loads.springs[AXLE_OF[kind]]
            centre, covariance = zero_prior(grid.passes, grid.loads.static, kind, problem.car, spring, drift_m)
            known.append((centre, np.asarray(np.linalg.inv(covariance))))
        problem.zero_priors[drift_m] = known
    return known
