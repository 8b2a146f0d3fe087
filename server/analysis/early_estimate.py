"""A first estimate of a day that has just got more data: the fit at noise that is known from the day's last fit.

What takes long in a fit is to find the noise (gusts, sensors, friction), to integrate over it and to judge bends. A day
that was fitted a moment ago knows its noise: some draws of it, equally likely then, are weighted by what the new data
say of each (importance sampling, the earlier posterior as proposal), and each gives its Gaussian of all constants. The
estimate is that mixture. Where few draws carry the weight the noise has moved, and what is known of it does not hold.

A day that was never fitted has no noise to begin with: its fit looks for it roughly, then closely. From what is found
roughly an early estimate is made by the way, with a few points where the fit takes many about a mode found closely.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from server.analysis.day_evidence import evaluate
from server.analysis.day_grid import Point
from server.analysis.day_model import linearise
from server.analysis.day_noise_search import curved_mode, widened_noise
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_problem import DayProblem
from server.analysis.day_solve import Rough, integrated, step, told_posterior
from server.inference.noise_integration import Mode, WeightedPoints
from server.testday.values import FloatArray

DRAWS = 16
LEAST_EFFECTIVE = 4.0
STEPS = 3
FIRST_POINTS = 32


@dataclass(frozen=True, slots=True)
class KnownNoise:
    """What a fit leaves for the next one of the same day; plain values, so that it can be written as JSON.

    mode: noise term → log of its value; draws: logs of the terms that are integrated over, equally likely; told: the
    log density of each by the data of that fit; start: parameter → value; bent: bends that were found.
    """

    mode: dict[str, float]
    integrated: tuple[str, ...]
    draws: tuple[tuple[float, ...], ...]
    told: tuple[float, ...]
    start: dict[str, float]
    bent: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return asdict(self)


def known_from_json(told: Mapping[str, Any]) -> KnownNoise:
    """The same read back. Raises KeyError, TypeError."""
    draws = tuple(tuple(float(x) for x in draw) for draw in told["draws"])
    return KnownNoise(
        dict(told["mode"]), tuple(told["integrated"]), draws, tuple(told["told"]), dict(told["start"]),
        tuple(told["bent"]),
    )  # fmt: skip


def known_noise(posterior: DayPosterior, seed: int = 1) -> KnownNoise:
    """What a fit knows of its day's noise."""
    problem, points = posterior.problem, posterior.points
    edges = (np.arange(DRAWS) + np.random.default_rng([seed, 0xEA]).random()) / DRAWS
    chosen = np.minimum(np.searchsorted(np.cumsum(points.weights), edges), len(points.weights) - 1)
    draws = [points.points[i] for i in chosen]
    ats = [_at(problem, posterior.mode.point, draw) for draw in draws]
    told = [evaluate(problem, posterior.linear, posterior.point, at)[0].log_evidence for at in ats]
    names = [term.name for term in problem.noise.terms]
    return KnownNoise(
        mode=dict(zip(names, map(float, posterior.mode.point), strict=True)),
        integrated=tuple(term.name for term in problem.noise.terms if term.integrated),
        draws=tuple(tuple(map(float, draw)) for draw in draws),
        told=tuple(told),
        start=dict(zip(_names(problem), map(float, posterior.point.theta), strict=True)),
        bent=tuple(_names(problem)[column] for column in problem.bent),
    )


def early_posterior(problem: DayProblem, known: KnownNoise, seed: int = 1) -> DayPosterior | None:
    """The posterior at the noise that is known; None where that does not hold for this day any more."""
    names = [term.name for term in problem.noise.terms]
    integrated = tuple(term.name for term in problem.noise.terms if term.integrated)
    if set(names) != set(known.mode) or integrated != known.integrated:
        return None
    places = {name: place for place, name in enumerate(_names(problem))}
    problem = replace(problem, bent=tuple(places[name] for name in known.bent if name in places))
    log = np.array([known.mode[name] for name in names])
    n = len(problem.grid.passes)
    stated = zip(_names(problem), problem.priors.mean, strict=True)
    theta = np.array([known.start.get(name, mean) for name, mean in stated])
    point = Point(theta, np.zeros(n), np.zeros(n))
    for _ in range(STEPS):
        point = step(problem, point, log)
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    draws = [np.array(draw) for draw in known.draws]
    found = {draw.tobytes(): evaluate(problem, linear, point, _at(problem, log, draw))[0] for draw in draws}
    gained = np.array([found[d.tobytes()].log_evidence - told for d, told in zip(draws, known.told, strict=True)])
    weights = np.exp(gained - np.max(gained))
    weights /= np.sum(weights)
    points = WeightedPoints(np.array(draws), weights, 1.0 / float(np.sum(weights**2)))
    if points.effective < LEAST_EFFECTIVE:
        return None
    mode = Mode(log, np.cov(points.points.T, aweights=weights), 0.0, len(found), True)
    return told_posterior(problem, point, linear, mode, points, lambda draw: found[draw.tobytes()], seed)


def rough_posterior(rough: Rough, seed: int = 1) -> DayPosterior | None:
    """The posterior of a day that is half solved; None where the few points tell too little."""
    problem, point = rough.problem, rough.point
    mode = curved_mode(problem, point, rough.mode)
    mode = replace(mode, point=widened_noise(problem, point, mode))
    posterior = integrated(problem, point, mode, seed, FIRST_POINTS)
    return posterior if posterior.points.effective >= LEAST_EFFECTIVE else None


def _at(problem: DayProblem, mode: FloatArray, draw: FloatArray) -> FloatArray:
    """The noise of a draw, with the allowance that areas are told with."""
    log = mode.copy()
    log[problem.noise.integrated] = draw
    return problem.noise.with_allowance(log)


def _names(problem: DayProblem) -> list[str]:
    return [parameter.name for parameter in problem.priors.parameters]
