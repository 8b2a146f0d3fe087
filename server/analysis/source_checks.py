"""Two sources of one axle's load against each other: does one contradict what the other and the inputs say?

The link between two sources is one input: the push rods' ratio, or between dampers and ride heights the tyre rate.
Its prior is taken away, the rest of the day says what it must be (value m, u s), and that is held against what was
stated (0 ± u): z = m / sqrt(s² + u²). A slipped sensor or a wrong motion ratio shows as an input that cannot be.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from server.analysis.day_evidence import normal_equations
from server.analysis.day_posterior import DayPosterior
from server.analysis.load_data import AXLE_OF, SOURCE_OF
from server.analysis.load_terms import ENDS
from server.analysis.result import AxleEnd, Estimate, LoadSource, SourceCheck
from server.testday.values import Finding, FloatArray

DOUBT = 2.5
LINKS: tuple[tuple[LoadSource, LoadSource, str], ...] = (
    ("damper", "push rod", "rod_ratio"),
    ("damper", "ride height", "tyre_rate"),
    ("push rod", "ride height", "tyre_rate"),
)


def source_checks(posterior: DayPosterior) -> tuple[SourceCheck, ...]:
    """Every pair of sources that sees the same axle."""
    found = []
    for end in ENDS:
        sources = {SOURCE_OF[kind] for kind in posterior.problem.grid.load_kinds if AXLE_OF[kind] == end}
        for first, second, link in LINKS:
            if {first, second} <= sources and not (first == "push rod" and "damper" in sources):
                found.append(_check(posterior, end, first, second, f"{link}_{end}"))
    return tuple(found)


def source_findings(checks: tuple[SourceCheck, ...]) -> Iterator[Finding]:
    """A finding for every pair that disagrees beyond its uncertainty."""
    for check in checks:
        if abs(check.z) > DOUBT:
            text = (
                f"{check.axle.capitalize()} axle: {check.first} and {check.second} differ "
                f"({check.first} load {check.ratio.value:.2f} times that of the {check.second}, {abs(check.z):.1f} "
                "times what their uncertainties allow). Look at motion ratio, spring and tyre rate and the sensors' "
                "seats; the areas lie between the two."
            )
            yield Finding("sources-disagree", "check", text)


def _check(posterior: DayPosterior, end: AxleEnd, first: LoadSource, second: LoadSource, link: str) -> SourceCheck:
    problem = posterior.problem
    place = problem.priors.index(link)
    parameter = problem.priors.parameters[place]
    mean, u = _without_prior(posterior, place)
    z = mean / float(np.hypot(u, 1.0))  # both in units of the link's prior u
    # as loads: a rod ratio is the load itself; a tyre rate is only part of what a ride height shows
    share = 1.0 if link.startswith("rod") else _tyre_share(posterior, end)
    off = mean * parameter.u * share
    spread = float(np.hypot(u, 1.0)) * parameter.u * share
    ratio = Estimate(1.0 + off, spread, 1.0 + off - 1.96 * spread, 1.0 + off + 1.96 * spread, "–", "measured")
    return SourceCheck(end, first, second, ratio, float(z))


def _without_prior(posterior: DayPosterior, place: int) -> tuple[float, float]:
    """Value and u of a shared parameter, in units of its prior u, from everything but its own prior."""
    grid = posterior.problem.grid
    information, score, _ = normal_equations(posterior.rows, posterior.linear.row_pass, len(grid.passes), grid.own)
    _, centre = posterior.scaled_prior()
    free = posterior.prior_without(np.array([place]))
    right: FloatArray = free @ centre - score
    covariance = np.linalg.inv(information + free)
    at = posterior.point.theta[place] / posterior.problem.priors.u[place]
    return float(covariance[place] @ right + at), float(np.sqrt(covariance[place, place]))


def _tyre_share(posterior: DayPosterior, end: AxleEnd) -> float:
    """Part of the body's sink that is the tyres'."""
    axle = getattr(posterior.problem.car, end)
    tyre = 0.5 / axle.tyre_rate_n_per_m.value
    loads = posterior.problem.grid.loads
    spring = loads.springs[end] if loads is not None else None
    return 1.0 if spring is None else float(tyre / (tyre + 1.0 / spring.rate_n_per_m))
