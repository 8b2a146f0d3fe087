"""The search for a day's noise parameters: where it begins, where it ends, and how wide slow load errors are taken."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from server.analysis.day_evidence import evaluate
from server.analysis.day_grid import Point
from server.analysis.day_model import linearise
from server.analysis.day_problem import DayProblem
from server.analysis.pass_data import AIR
from server.inference.noise_integration import Mode, curvature, find_mode
from server.testday.values import FloatArray


def first_noise(problem: DayProblem) -> FloatArray:
    """Where the search for the noise begins: the prior's medians, white noise of each sensor from how its blocks
    differ from one to the next (second differences, robust)."""
    log = problem.noise.log_median.copy()
    names = {0: "wheel_white", 1: "satellite_white", AIR: "air_white"}
    names |= {k: f"load_white_{k}" for k in problem.grid.load_kinds}
    for i, term in enumerate(problem.noise.terms):
        kind = next((k for k, name in names.items() if name == term.name), None)
        if kind is None:
            continue
        steps = [
            np.diff(series.value, 2)
            for data in problem.grid.passes
            if (series := data.air if kind == AIR else data.series.get(kind) or data.loads.get(kind)) is not None
        ]
        spread = 1.4826 * float(np.median(np.abs(np.concatenate(steps)))) / np.sqrt(6.0) if steps else 0.0
        if spread > 0.0:
            log[i] = np.clip(np.log(spread), log[i] - 3.0 * term.log_sd, log[i] + 3.0 * term.log_sd)
    return log


def noise_mode(problem: DayProblem, point: Point, start: FloatArray, last: bool) -> Mode:
    """The best noise about a point; last: found closely, with the curvature of what is integrated over."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)

    def log_density(log: FloatArray) -> float:
        return evaluate(problem, linear, point, log)[0].log_evidence + problem.noise.log_prior(log)

    curved = problem.noise.integrated if last else None
    return find_mode(log_density, start, problem.noise.log_sd, curved, closely=last, scale=problem.noise.told)


def curved_mode(problem: DayProblem, point: Point, mode: Mode) -> Mode:
    """A mode that was found roughly, with the curvature about it of what is integrated over."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)

    def cost(log: FloatArray) -> float:
        value = evaluate(problem, linear, point, log)[0].log_evidence + problem.noise.log_prior(log)
        return -value if np.isfinite(value) else 1e12

    along = np.flatnonzero(problem.noise.integrated)
    value = cost(mode.point)
    return replace(
        mode, value=-value, covariance=curvature(cost, mode.point, value, problem.noise.log_sd, along)
    )


def widened_noise(problem: DayProblem, point: Point, mode: Mode) -> FloatArray:
    """The mode with the log of slow load errors moved up by their variance s²: exp(2 m + 2 s²) is the mean of a
    log-normal's square, and the square is what an uncertainty holds. At most 0.4."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    log = mode.point.copy()
    for i, term in enumerate(problem.noise.terms):
        if not term.widened:
            continue
        step, ends = 0.5 * term.told, []
        for sign in (1.0, -1.0):
            moved = mode.point.copy()
            moved[i] += sign * step
            ends.append(evaluate(problem, linear, point, moved)[0].log_evidence + problem.noise.log_prior(moved))
        curve = -(ends[0] + ends[1] - 2.0 * mode.value) / step**2
        log[i] += float(np.clip(1.0 / max(curve, 1e-3), 0.0, 0.4))
    return log
