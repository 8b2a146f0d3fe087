"""Draws of a downforce area that was measured through soft tyres, bent as the tyres' compliance bends them.

A ride height tells how far the body came down, and the area is that over the compliance of the axle:

    SCz ∝ 1 / (C_s + C_t / (1 + τ)),   C_s of springs, C_t of tyres [m/N], τ the tyre rate's relative error

The day's model is linear about its solution τ̂, where SCz changes by d = C_t' / ((1 + τ̂)(C_s + C_t')) per τ,
C_t' = C_t / (1 + τ̂). A tyre rate that is known to a fifth lets the true curve leave that line: a tyre half as stiff as
assumed takes twice of what the line allows off the area. Each draw is moved by what the curve and the line differ by
at its own τ, as far as the area hangs on τ at all (another source may tell it), the slope of the draws over d.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.load_blocks import load_context
from server.analysis.load_data import AXLE_OF, SOURCE_OF
from server.analysis.result import AxleEnd
from server.testday.values import Axle, FloatArray

SOFTEST = 0.3  # of the stated rate: no draw is softer; a tyre has some stiffness


def bent_by_tyres(posterior: DayPosterior) -> DayPosterior:
    """The posterior with such draws bent; its Gaussian at the best noise stays the line."""
    samples = posterior.samples.copy()
    for column, tyre, end in _through_tyres(posterior):
        samples[:, column] += _bend(posterior, column, tyre, end)
    return replace(posterior, samples=samples) if not np.array_equal(samples, posterior.samples) else posterior


def curve_and_line(
    tau: FloatArray, at: float, spring_compliance: float, tyre_compliance: float
) -> tuple[FloatArray, FloatArray, float]:
    """The area over its value at the solution: by the curve (n,), by the line (n,), and the line's slope d.

    tau: relative errors of the tyre rate (n,); at: that of the solution; compliances at the stated rates [m/N].
    """
    there = tyre_compliance / (1.0 + at)
    whole = spring_compliance + there
    slope = there / ((1.0 + at) * whole)
    curve = whole / (spring_compliance + tyre_compliance / np.maximum(1.0 + tau, SOFTEST))
    return curve, 1.0 + slope * (tau - at), slope


def _through_tyres(posterior: DayPosterior) -> Iterator[tuple[int, int, AxleEnd]]:
    """Columns of areas, and of their axle's tyre rate, where ride heights were measured."""
    problem = posterior.problem
    names = [parameter.name for parameter in problem.priors.parameters]
    ends = {AXLE_OF[kind] for kind in problem.grid.load_kinds if SOURCE_OF[kind] == "ride height"}
    for end in sorted(ends):
        if f"tyre_rate_{end}" in names:
            for setup in sorted(problem.measured_setups):
                yield problem.priors.index(f"scz_{end}:{setup}"), problem.priors.index(f"tyre_rate_{end}"), end


def _bend(posterior: DayPosterior, column: int, tyre: int, end: AxleEnd) -> FloatArray:
    problem, mean = posterior.problem, posterior.mode_mean
    axle: Axle = getattr(problem.car, end)
    spring = load_context(problem.grid, problem.setup_names, problem.car).springs[end]
    soft = 0.0 if spring is None else 1.0 / spring.rate_n_per_m
    area, tau = posterior.samples[:, column], posterior.samples[:, tyre]
    centre = float(np.mean(area))
    curve, line, slope = curve_and_line(tau, float(mean[tyre]), soft, 0.5 / axle.tyre_rate_n_per_m.value)
    spread = float(np.var(tau))
    if spread == 0.0 or centre == 0.0:
        return np.zeros_like(area)
    found = float(np.mean((area - centre) * (tau - float(np.mean(tau))))) / spread / centre
    return centre * float(np.clip(found / slope, 0.0, 1.0)) * (curve - line)
