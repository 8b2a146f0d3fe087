"""The early estimate of a day as a result: areas and differences with intervals of their own, nothing else.

Its noise is that of the day's last fit, which knows nothing of how gusty the newest runs were but what weighting a few
draws tells, or one that was found roughly; so its intervals are taken wider than the fit's would be (`WIDER`, from
simulated days).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import server
from server.analysis.day_fit import ReadyDay, made_ready
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_solve import Rough, solve_roughly
from server.analysis.early_estimate import KnownNoise, early_posterior, rough_posterior
from server.analysis.estimates import estimate
from server.analysis.fit_findings import TOO_WIDE
from server.analysis.fit_options import FitOptions
from server.analysis.joint_hold import widened_by_joints
from server.analysis.result import DayResult, Pass, SetupResult
from server.analysis.setup_report import UNITS, comparisons, posterior_source, setup_samples
from server.analysis.tyre_compliance import bent_by_tyres
from server.testday.values import Day

WIDER = 1.15
AREAS = ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD")


def fit_early(day: Day, known: KnownNoise | None, options: FitOptions | None = None) -> DayResult | None:
    """The estimate of a loaded day at the noise of its last fit, or where none is known or does not hold any more, at
    one that is looked for roughly; None where only the fit itself can tell."""
    options = options or FitOptions()
    made = made_ready(day, options)
    if made.problem is None:
        return None
    try:
        found = early_posterior(made.problem, known, options.seed) if known is not None else None
        found = found or rough_posterior(solve_roughly(made.problem), options.seed)
    except np.linalg.LinAlgError:
        return None
    return None if found is None else _told(made, found)


def early_of_fit(made: ReadyDay, rough: Rough) -> DayResult | None:
    """The same of a day whose fit is on the way; None where only its end can tell."""
    try:
        found = rough_posterior(rough)
    except np.linalg.LinAlgError:
        return None
    return None if found is None else _told(made, found)


def _told(made: ReadyDay, found: DayPosterior) -> DayResult:
    posterior, _ = widened_by_joints(bent_by_tyres(_wider(found)))
    setups = tuple(_setup(posterior, name, made.passes) for name in found.problem.setup_names)
    standing = {one.name for one in setups if "SCx" in one.estimates}
    told = tuple(c for c in comparisons(posterior, made.day) if {c.setup, c.baseline} <= standing)
    return DayResult(made.day.name, {}, setups, told, (), version=server.__version__)


def _wider(posterior: DayPosterior) -> DayPosterior:
    centre = np.mean(posterior.samples, axis=0)
    return replace(posterior, samples=centre + WIDER * (posterior.samples - centre))


def _setup(posterior: DayPosterior, name: str, passes: tuple[Pass, ...]) -> SetupResult:
    samples = setup_samples(posterior, name)
    measured = ["SCx"]
    if all(posterior_source(posterior, f"scz_{end}:{name}") == "measured" for end in ("front", "rear")):
        measured += [area for area in AREAS if area != "SCx" and area in samples]
    estimates = {area: estimate(samples[area], UNITS[area], "measured") for area in measured}
    area = estimates["SCx"]
    if area.value <= 0 or area.u > TOO_WIDE * area.value:
        estimates = {}
    return SetupResult(name, estimates, tuple(p for p in passes if p.setup == name))
