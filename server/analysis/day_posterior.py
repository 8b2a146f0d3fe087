"""The joint posterior of a day: marginal likelihood at given noise, Gauss–Newton, integration over noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_model import DayGrid, LinearDay, Point, linearise, with_gusts
from server.analysis.day_noise import DayNoise, filter_noise, gust_exponent
from server.analysis.day_priors import SPEED_NAMES, Priors, scatter_covariance, wind_prior
from server.analysis.weather import DayAir
from server.inference.augmented_filter import whiten
from server.inference.gaussian import Posterior, condition
from server.inference.noise_integration import Mode, WeightedPoints, find_mode, weighted_points
from server.testday.values import Car, FloatArray

WIND_LEVEL_U_MPS = 2.5
POINTS = 128


@dataclass(frozen=True, slots=True, eq=False)
class DayProblem:
    """Everything the posterior needs: grid, priors, noise terms."""

    grid: DayGrid
    priors: Priors
    noise: DayNoise
    setup_names: tuple[str, ...]
    car: Car
    air: DayAir


@dataclass(frozen=True, slots=True, eq=False)
class DayPosterior:
    """Posterior of a day. Parameters are shared ones, then winds, then scatters, in natural units.

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


def solve_day(problem: DayProblem, seed: int = 1, progress: Callable[[float, str], None] | None = None) -> DayPosterior:
    """Fit the day: linearise, find the noise, linearise again until it stands, integrate over the noise."""
    say = progress or silent
    n = len(problem.grid.passes)
    point = Point(problem.priors.mean, np.zeros(n), np.zeros(n))
    log = problem.noise.log_median
    for _ in range(3):
        point = _step(problem, point, log)
    say(0.2, "noise")
    mode = _noise_mode(problem, point, log, last=False)
    for _ in range(3):
        point = _step(problem, point, mode.point)
    say(0.5, "noise, again")
    mode = _noise_mode(problem, point, mode.point, last=True)
    for _ in range(2):
        point = _step(problem, point, mode.point)
    say(0.7, "sampling")
    return _integrate(problem, point, mode, seed)


def silent(fraction: float, text: str) -> None:
    """Progress that nobody wants to hear."""


def _step(problem: DayProblem, point: Point, log: FloatArray) -> Point:
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    posterior, _ = evaluate(problem, linear, point, log)
    return _moved(problem, point, posterior.mean)


def _moved(problem: DayProblem, point: Point, z: FloatArray) -> Point:
    p, n = len(problem.priors.parameters), len(problem.grid.passes)
    return Point(point.theta + problem.priors.u * z[:p], point.wind + z[p : p + n], point.scatter + z[p + n :])


def _noise_mode(problem: DayProblem, point: Point, start: FloatArray, last: bool) -> Mode:
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)

    def log_density(log: FloatArray) -> float:
        return evaluate(problem, linear, point, log)[0].log_evidence + problem.noise.log_prior(log)

    return find_mode(log_density, start, problem.noise.log_sd, problem.noise.integrated if last else None)


def evaluate(problem: DayProblem, linear: LinearDay, point: Point, log: FloatArray) -> tuple[Posterior, FloatArray]:
    """Posterior of the deviations from the point (shared in units of prior u) at given noise, and the rows."""
    values = problem.noise.values(log)
    noise = filter_noise(values)
    rows, logdet = whiten(with_gusts(linear, noise.gust_sd, gust_exponent(values)), noise)
    information, score, chi2 = _normal(rows, linear.row_pass, len(problem.grid.passes))
    mean, precision = _prior(problem, point, values)
    return condition(information, score, chi2, logdet, mean, precision), rows


def _normal(rows: FloatArray, row_pass: np.ndarray, n: int) -> tuple[FloatArray, FloatArray, float]:
    """EᵀE, Eᵀe_0, e_0ᵀe_0 with each pass's own two columns spread to their places."""
    p = rows.shape[1] - 3
    shared = rows[:, : p + 1].T @ rows[:, : p + 1]
    information = np.zeros((p + 2 * n, p + 2 * n))
    score = np.zeros(p + 2 * n)
    information[:p, :p] = shared[1:, 1:]
    score[:p] = shared[0, 1:]
    ends = np.searchsorted(row_pass, np.arange(n + 1))
    for i in range(n):
        part = rows[ends[i] : ends[i + 1]]
        own = part[:, p + 1 :].T @ part
        place = [p + i, p + n + i]
        score[place] = own[:, 0]
        information[place, :p] = own[:, 1 : p + 1]
        information[:p, place] = own[:, 1 : p + 1].T
        information[np.ix_(place, place)] = own[:, p + 1 :]
    return information, score, float(shared[0, 0])


def _prior(problem: DayProblem, point: Point, values: dict[str, float]) -> tuple[FloatArray, FloatArray]:
    """Prior mean and precision of the deviations from the point."""
    priors, passes = problem.priors, problem.grid.passes
    p, n = len(priors.parameters), len(passes)
    precision = np.zeros((p + 2 * n, p + 2 * n))
    mean = np.zeros(p + 2 * n)
    mean[:p] = (priors.mean - point.theta) / priors.u
    scale = np.ones(p)
    waves = [i for i, q in enumerate(priors.parameters) if q.name.startswith("wave_")]
    if waves:
        scale[waves] = (priors.u[waves] / (values["wave"] * np.sqrt(2.0 / len(waves)))) ** 2
    precision[np.arange(p), np.arange(p)] = scale
    speeds = [priors.index(name) for name in SPEED_NAMES]
    precision[np.ix_(speeds, speeds)] = np.linalg.inv(priors.speed_correlation)
    wind_mean, wind_cov = wind_prior(passes, problem.air, WIND_LEVEL_U_MPS, values["slow_wind"])
    precision[p : p + n, p : p + n] = np.linalg.inv(wind_cov)
    mean[p : p + n] = wind_mean - point.wind
    precision[p + n :, p + n :] = np.linalg.inv(scatter_covariance(passes, values["scatter"]))
    mean[p + n :] = -point.scatter
    return mean, precision


def _integrate(problem: DayProblem, point: Point, mode: Mode, seed: int) -> DayPosterior:
    """Weighted points over the noise, each with its Gaussian of the parameters; samples of the mixture."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    found: dict[bytes, Posterior] = {}
    free = problem.noise.integrated
    narrow = replace(mode, point=mode.point[free])

    def log_density(part: FloatArray) -> float:
        log = mode.point.copy()
        log[free] = part
        try:
            posterior, _ = evaluate(problem, linear, point, log)
        except np.linalg.LinAlgError:
            return -np.inf
        found[part.tobytes()] = posterior
        return posterior.log_evidence + problem.noise.log_prior(log)

    points = weighted_points(log_density, narrow, POINTS, seed)
    at_mode, rows = evaluate(problem, linear, point, mode.point)
    rng = np.random.default_rng(seed)
    samples = _mixture(points, found, rng)
    scale = _scale(problem)
    base = np.concatenate([point.theta, point.wind, point.scatter])
    p = len(problem.priors.parameters)
    residuals = rows[:, 0] + rows[:, 1 : p + 1] @ at_mode.mean[:p]
    n = len(problem.grid.passes)
    residuals += rows[:, p + 1] * at_mode.mean[p : p + n][linear.row_pass]
    residuals += rows[:, p + 2] * at_mode.mean[p + n :][linear.row_pass]
    values = problem.noise.values(mode.point)
    return DayPosterior(
        problem=problem,
        point=point,
        linear=linear,
        mode=mode,
        points=points,
        mode_mean=base + scale * at_mode.mean,
        mode_covariance=at_mode.covariance() * np.outer(scale, scale),
        mode_precision_prior=_prior(problem, point, values)[1] / np.outer(scale, scale),
        prior_mean=base + scale * _prior(problem, point, values)[0],
        samples=base + scale * samples,
        rows=rows,
        residuals=residuals,
        values=values,
    )


def _scale(problem: DayProblem) -> FloatArray:
    return np.concatenate([problem.priors.u, np.ones(2 * len(problem.grid.passes))])


def _mixture(points: WeightedPoints, found: dict[bytes, Posterior], rng: np.random.Generator) -> FloatArray:
    """4,000 draws of the mixture, in proportion to the points' weights (systematic resampling)."""
    total = 4000
    edges = (np.arange(total) + rng.random()) / total
    counts = np.bincount(
        np.minimum(np.searchsorted(np.cumsum(points.weights), edges), len(points.weights) - 1),
        minlength=len(points.weights),
    )
    parts = []
    for part, count in zip(points.points, counts, strict=True):
        if count:
            posterior = found[part.tobytes()]
            parts.append(posterior.draw(rng.standard_normal((int(count), len(posterior.mean)))))
    return np.vstack(parts)
