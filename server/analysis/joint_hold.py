"""Axles whose joints hold back nearly all that the air puts on them: their areas are known no better than that.

A joint that never turns round carries up to ± f of the load unseen, somewhere in between and the same way in every
pass, so that passes do not average it out: a uniform error of standard uncertainty f/√3 over ½ρU² at the highest
speed. f is what the fit knows of the friction and one u more: joints that stick tell least of it. It counts in full
where the load is below 2 f and not at all above 6 f, in a straight line between.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.load_data import AXLE_OF
from server.testday.values import Finding

FULL, NONE = 2.0, 6.0
SEED = 20


@dataclass(frozen=True, slots=True)
class HeldAxle:
    """An axle of a setup: its column, the joints' friction on it [N], the load at top speed [N], what it adds [m²]."""

    setup: str
    end: str
    column: int
    friction_n: float
    load_n: float
    added_u_m2: float


def held_axles(posterior: DayPosterior) -> Iterator[HeldAxle]:
    """The axles whose load never gets far above what their joints can hold back."""
    problem, mean = posterior.problem, posterior.mode_mean
    for setup in sorted(problem.measured_setups):
        mine = [i for i, data in enumerate(problem.grid.passes) if data.of.setup == setup and data.loads]
        pressure = max(0.5 * problem.grid.density[i] * problem.grid.passes[i].of.high_mps ** 2 for i in mine)
        for end in sorted({AXLE_OF[kind] for i in mine for kind in problem.grid.passes[i].loads}):
            column, joint = problem.priors.index(f"scz_{end}:{setup}"), problem.priors.index(f"joint_{end}")
            friction = abs(float(mean[joint])) + float(np.sqrt(posterior.mode_covariance[joint, joint]))
            load = abs(float(mean[column])) * pressure
            share = float(np.clip((NONE - load / max(friction, 1e-9)) / (NONE - FULL), 0.0, 1.0))
            if share > 0.0:
                added = share * friction / (np.sqrt(3.0) * pressure)
                yield HeldAxle(setup, end, column, friction, load, added)


def widened_by_joints(posterior: DayPosterior) -> tuple[DayPosterior, list[Finding]]:
    """The posterior with those areas as wide as their joints make them, and what to say of it."""
    rng = np.random.default_rng(SEED)
    samples, covariance, findings = posterior.samples.copy(), posterior.mode_covariance.copy(), []
    for held in held_axles(posterior):
        samples[:, held.column] += held.added_u_m2 * rng.standard_normal(len(samples))
        covariance[held.column, held.column] += held.added_u_m2**2
        if held.load_n < 0.5 * (FULL + NONE) * held.friction_n:
            findings.append(_finding(held))
    if not np.array_equal(samples, posterior.samples):
        posterior = replace(posterior, samples=samples, mode_covariance=covariance)
    return posterior, findings


def _finding(held: HeldAxle) -> Finding:
    text = (
        f"Setup {held.setup}: at top speed the air puts about {held.load_n:.0f} N on the {held.end} axle, and its "
        f"joints can hold back {held.friction_n:.0f} N unseen; its area is wider by u = {held.added_u_m2:.2g} m². "
        "Loose the joints, or drive faster."
    )
    return Finding("joints-hold", "check", text)
