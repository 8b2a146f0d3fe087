"""What a study judges: the product, or fakes whose honesty is known (they try the study itself)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from server.analysis.result import Comparison, DayResult, Delta, Estimate, SetupResult
from tests.simulator import HostileDay

Fitter = Callable[[HostileDay], DayResult]
RELATIVE_U = 0.02
K95 = 1.959964


def product(hostile: HostileDay) -> DayResult:
    """The product's own fit; it gets the day and nothing of the truth."""
    from server.analysis.day_fit import fit_day

    return fit_day(hostile.day)


def honest(hostile: HostileDay) -> DayResult:
    """Truth plus noise of the u that it claims."""
    return _fake(hostile, claimed=1.0)


def overconfident(hostile: HostileDay) -> DayResult:
    """Claims half of the u that it has."""
    return _fake(hostile, claimed=0.5)


def timid(hostile: HostileDay) -> DayResult:
    """Claims twice the u that it has."""
    return _fake(hostile, claimed=2.0)


def silent(hostile: HostileDay) -> DayResult:
    """Honest where it speaks, and has no area on every fifth day; raises on every tenth."""
    seed = _seed(hostile)
    if seed % 10 == 0:
        raise RuntimeError("a fit that fails")
    result = _fake(hostile, claimed=1.0)
    if seed % 5 != 0:
        return result
    empty = tuple(SetupResult(s.name, {}, s.passes) for s in result.setups)
    return DayResult(result.name, {}, empty, (), ())


FITTERS: Mapping[str, Fitter] = {
    "product": product,
    "honest": honest,
    "overconfident": overconfident,
    "timid": timid,
    "silent": silent,
}


def _seed(hostile: HostileDay) -> int:
    return int(hostile.day.name.split()[-1])


def _fake(hostile: HostileDay, claimed: float) -> DayResult:
    rng = np.random.default_rng([_seed(hostile), 77])
    truths: Mapping[str, Mapping[str, Any]] = hostile.truth["setups"]
    setups, areas = [], {}
    for name, truth in truths.items():
        estimates = {key: _estimate(rng, float(value), claimed) for key, value in truth.items()}
        setups.append(SetupResult(name, estimates, ()))
        areas[name] = estimates["SCx"]
    comparisons = [_comparison(name, areas) for name in areas if name != "A"]
    return DayResult(hostile.day.name, {}, tuple(setups), tuple(comparisons), ())


def _estimate(rng: np.random.Generator, truth: float, claimed: float) -> Estimate:
    error = max(RELATIVE_U * abs(truth), 1e-9)
    value, u = truth + error * float(rng.standard_normal()), claimed * error
    return Estimate(value, u, value - K95 * u, value + K95 * u, "", "measured")


def _comparison(name: str, areas: Mapping[str, Estimate]) -> Comparison:
    value = areas[name].value - areas["A"].value
    u = float(np.hypot(areas[name].u, areas["A"].u))
    delta = Delta(value, u, value - K95 * u, value + K95 * u, 1.0, 2.8 * u, "m²")
    return Comparison(name, "A", {"SCx": delta})
