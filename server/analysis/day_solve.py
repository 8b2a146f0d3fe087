"""Solve a day: Gauss–Newton over its parameters, then integration over its noise."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_evidence import evaluate
from server.analysis.day_grid import Point
from server.analysis.day_model import LinearDay, linearise
from server.analysis.day_noise_search import first_noise, noise_mode, widened_noise
from server.analysis.day_posterior import DayPosterior, point_base
from server.analysis.day_prior_matrix import day_prior
from server.analysis.day_problem import DayProblem
from server.inference.gaussian import Posterior
from server.inference.noise_integration import Mode, WeightedPoints, weighted_points
from server.testday.values import FloatArray

POINTS = 128


@dataclass(frozen=True, slots=True, eq=False)
class Rough:
    """A day half solved: where it is linearised, its noise as it was found roughly."""

    problem: DayProblem
    point: Point
    mode: Mode


def solve_day(
    problem: DayProblem,
    seed: int = 1,
    progress: Callable[[float, str], None] | None = None,
    rough: Callable[[Rough], None] | None = None,
) -> DayPosterior:
    """Fit the day: linearise, find the noise, linearise again until it stands, integrate over the noise.

    rough: is told where the fit stands once the noise is found roughly.
    """
    say = progress or silent
    found = solve_roughly(problem, lambda: say(0.2, "noise"))
    if rough is not None:
        rough(found)
    point, mode = found.point, found.mode
    say(0.5, "noise, again")
    mode = noise_mode(problem, point, mode.point, last=True)
    mode = replace(mode, point=widened_noise(problem, point, mode))
    for _ in range(2):
        point = step(problem, point, mode.point)
    say(0.7, "sampling")
    return integrated(problem, point, mode, seed)


def solve_roughly(problem: DayProblem, linearised: Callable[[], None] = lambda: None) -> Rough:
    """The first half of it: a noise found roughly, and the point that stands with it."""
    n = len(problem.grid.passes)
    point = Point(problem.priors.mean, np.zeros(n), np.zeros(n))
    log = first_noise(problem)
    for _ in range(3):
        point = step(problem, point, log)
    linearised()
    mode = noise_mode(problem, point, log, last=False)
    for _ in range(3):
        point = step(problem, point, mode.point)
    return Rough(problem, point, mode)


def bend_day(posterior: DayPosterior, columns: Sequence[int], seed: int = 1) -> DayPosterior:
    """The same day with SCz as a curve in ride height (columns: the bends): solved on from the posterior."""
    problem = replace(posterior.problem, bent=tuple(int(c) for c in columns))
    point = posterior.point
    for _ in range(4):
        point = step(problem, point, posterior.mode.point)
    return integrated(problem, point, posterior.mode, seed)


def silent(fraction: float, text: str) -> None:
    """Progress that nobody wants to hear."""


def step(problem: DayProblem, point: Point, log: FloatArray) -> Point:
    """One Gauss–Newton step at given noise."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    posterior, _ = evaluate(problem, linear, point, log)
    return _moved(problem, point, posterior.mean)


def _moved(problem: DayProblem, point: Point, z: FloatArray) -> Point:
    p, n = len(problem.priors.parameters), len(problem.grid.passes)
    theta = point.theta + problem.priors.u * z[:p]
    return Point(theta, point.wind + z[p : p + n], point.scatter + z[p + n : p + 2 * n])


def integrated(problem: DayProblem, point: Point, mode: Mode, seed: int, n: int = POINTS) -> DayPosterior:
    """Weighted points over the noise, n of them, each with its Gaussian of the parameters; samples of the mixture."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    free = problem.noise.integrated
    narrow = replace(mode, point=mode.point[free])

    def whole(part: FloatArray) -> FloatArray:
        log = mode.point.copy()
        log[free] = part
        return log

    def log_density(part: FloatArray) -> float:
        try:
            posterior, _ = evaluate(problem, linear, point, whole(part))
        except np.linalg.LinAlgError:
            return -np.inf
        return posterior.log_evidence + problem.noise.log_prior(whole(part))

    points = weighted_points(log_density, narrow, n, seed)

    def conditional(part: FloatArray) -> Posterior:
        return evaluate(problem, linear, point, problem.noise.with_allowance(whole(part)))[0]

    return told_posterior(problem, point, linear, mode, points, conditional, seed)


def told_posterior(  # noqa: PLR0917 - what a posterior is made of
    problem: DayProblem,
    point: Point,
    linear: LinearDay,
    mode: Mode,
    points: WeightedPoints,
    conditional: Callable[[FloatArray], Posterior],
    seed: int,
) -> DayPosterior:
    """The posterior of weighted points over the noise; conditional: the Gaussian of the parameters at one of them."""
    wider = problem.noise.with_allowance(mode.point)
    at_mode, rows = evaluate(problem, linear, point, wider)
    rng = np.random.default_rng(seed)
    samples = _mixture(points, conditional, rng)
    scale = _scale(problem)
    base = point_base(problem, point)
    p = len(problem.priors.parameters)
    residuals = rows[:, 0] + rows[:, 1 : p + 1] @ at_mode.mean[:p]
    own = at_mode.mean[p:].reshape(problem.grid.own, -1)  # (own, passes)
    residuals += np.sum(rows[:, p + 1 :] * own.T[linear.row_pass], axis=1)
    values = problem.noise.values(wider)
    return DayPosterior(
        problem=problem,
        point=point,
        linear=linear,
        mode=mode,
        points=points,
        mode_mean=base + scale * at_mode.mean,
        mode_covariance=at_mode.covariance() * np.outer(scale, scale),
        mode_precision_prior=day_prior(problem, point, values)[1] / np.outer(scale, scale),
        prior_mean=base + scale * day_prior(problem, point, values)[0],
        samples=base + scale * samples,
        rows=rows,
        residuals=residuals,
        values=values,
    )


def _scale(problem: DayProblem) -> FloatArray:
    return np.concatenate([problem.priors.u, np.ones(problem.grid.own * len(problem.grid.passes))])


def _mixture(
    points: WeightedPoints, conditional: Callable[[FloatArray], Posterior], rng: np.random.Generator
) -> FloatArray:
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
            posterior = conditional(part)
            parts.append(posterior.draw(rng.standard_normal((int(count), len(posterior.mean)))))
    return np.vstack(parts)
