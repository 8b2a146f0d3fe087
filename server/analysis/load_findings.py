"""What is noticed of axle loads once they are fitted: curves, stuck joints, wandering zeros, assumed geometry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.load_data import AXLE_OF
from server.analysis.load_terms import ENDS
from server.analysis.result import SetupResult
from server.testday.values import Finding

STUCK = 0.6  # u of an area that its axle's sensors left this wide says that the joints hid it, m²
WANDERING_M = 3e-4  # of wheel travel in ten minutes


def load_findings(posterior: DayPosterior, setups: Sequence[SetupResult]) -> Iterator[Finding]:
    """Findings of the loads of all setups."""
    if not posterior.problem.grid.load_kinds:
        return
    yield from _bent(setups)
    yield from _stuck(posterior)
    drift = posterior.values.get("zero_drift", 0.0)
    if drift > WANDERING_M:
        text = (
            f"Zeros of the load sensors wander by about {1e3 * drift:.1f} mm of wheel travel in ten minutes; each pass "
            "has its own zero and drift, which costs certainty. Look for a loose mount or a sensor that warms up."
        )
        yield Finding("zero-wanders", "check", text)
    steady = any(data.of.kind == "constant-speed" for data in posterior.problem.grid.passes)
    given = posterior.problem.car.anti_squat
    if steady and given.source == "default":
        text = (
            f"Constant-speed passes are used and [car] anti_squat is not given: {given.value:g} ± {given.u:g}. "
            "Drive torque takes that share of its load transfer off the driven axle's springs."
        )
        yield Finding("anti-squat-assumed", "note", text)


def _bent(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    for setup in setups:
        if setup.bend is None or not setup.bend.bent:
            continue
        parts = [
            f"{end} {100e-3 * slope.value:+.1f} ± {100e-3 * slope.u95:.1f} % per mm that it sinks"
            for end, slope in setup.bend.slope.items()
        ]
        text = (
            f"Setup {setup.name}: SCz changes with ride height (p {setup.bend.p:.3f}): {', '.join(parts)}. The areas "
            "are those at the reference condition; don't carry them to other ride heights."
        )
        yield Finding("downforce-bends", "check", text)


def _stuck(posterior: DayPosterior) -> Iterator[Finding]:
    priors = posterior.problem.priors
    for name in posterior.problem.setup_names:
        for end in ENDS:
            if not any(AXLE_OF[kind] == end for kind in posterior.problem.grid.load_kinds):
                continue
            u = float(np.std(posterior.samples[:, priors.index(f"scz_{end}:{name}")]))
            if u > STUCK and name in posterior.problem.measured_setups:
                text = (
                    f"Setup {name}: the {end} axle's load moves too little to get past the friction of its joints, or "
                    f"its sensors say too little; SCz {end} is known to ± {2 * u:.1f} m² only."
                )
                yield Finding("load-stuck", "check", text)
