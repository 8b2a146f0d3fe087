"""What a study judges: the product, or fakes whose honesty is known (they try the study itself)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from server.analysis.result import BendTest, Comparison, DayResult, Delta, Estimate, SetupResult
from server.testday.values import Day
from tests.simulator import HostileDay
from tests.simulator.typed import typed_day

Fitter = Callable[[HostileDay], DayResult]
RELATIVE_U = 0.02
K95 = 1.959964
LOAD_ROLES = ("damper_", "ride_height_", "pushrod_load_")


def product(hostile: HostileDay) -> DayResult:
    """The product's own fit; it gets the day and nothing of the truth."""
    from server.analysis.day_fit import fit_day

    return fit_day(hostile.day)


def unloaded(hostile: HostileDay) -> DayResult:
    """The product's fit of the same day without its axle load channels."""
    return product(replace(hostile, day=without_loads(hostile.day)))


def typed(hostile: HostileDay) -> DayResult:
    """The product's fit of the same day without any log: its coast-downs typed by hand."""
    return product(typed_day(hostile))


def early(hostile: HostileDay) -> DayResult:
    """The early estimate of the day, at the noise that the same day without its last run was fitted with."""
    from server.analysis.day_fit import fit_day
    from server.analysis.early_estimate import KnownNoise, known_noise
    from server.analysis.early_fit import fit_early

    known: list[KnownNoise] = []
    fit_day(before_last_run(hostile.day), known=lambda posterior: known.append(known_noise(posterior)))
    result = fit_early(hostile.day, known[0]) if known else None
    return result or DayResult(hostile.day.name, {}, (), (), ())


def first(hostile: HostileDay) -> DayResult:
    """The early estimate of a day that was never fitted."""
    from server.analysis.early_fit import fit_early

    return fit_early(hostile.day, None) or DayResult(hostile.day.name, {}, (), (), ())


def before_last_run(day: Day) -> Day:
    """The day as it stood before its last run came in."""
    return replace(day, runs=day.runs[:-1])


def apart(hostile: HostileDay) -> DayResult:
    """A change and the baseline each fitted by itself, as if on two days; their difference in quadrature.

    One change a day, turning with the seed: the one that a study of differences counts.
    """
    changes = [name for name in hostile.truth["setups"] if name != "A"]
    chosen = changes[_seed(hostile) % len(changes)]
    fitted = [product(replace(hostile, day=_only(hostile.day, name))) for name in ("A", chosen)]
    setups = tuple(one for result in fitted for one in result.setups)
    areas = {one.name: one.estimates["SCx"] for one in setups if "SCx" in one.estimates}
    told = (_comparison(chosen, areas),) if {"A", chosen} <= set(areas) else ()
    return DayResult(hostile.day.name, {}, setups, told, ())


def _only(day: Day, setup: str) -> Day:
    """The day as if nothing but this setup had been run."""
    kept = tuple(replace(one, baseline=None) for one in day.setups if one.name == setup)
    return replace(day, setups=kept, runs=tuple(run for run in day.runs if run.setup == setup))


def without_loads(day: Day) -> Day:
    """The day as it would be with no load sensor on the car."""
    runs = []
    for run in day.runs:
        recordings = [
            replace(r, signals={k: s for k, s in r.signals.items() if not k.startswith(LOAD_ROLES)})
            for r in run.recordings
        ]
        runs.append(replace(run, recordings=tuple(recordings)))
    return replace(day, runs=tuple(runs))


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
    "unloaded": unloaded,
    "typed": typed,
    "apart": apart,
    "early": early,
    "first": first,
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
        setups.append(SetupResult(name, estimates, (), bend=_bend_test(rng, bool(hostile.truth["bent"]))))
        areas[name] = estimates["SCx"]
    comparisons = [_comparison(name, areas) for name in areas if name != "A"]
    return DayResult(hostile.day.name, {}, tuple(setups), tuple(comparisons), ())


def _bend_test(rng: np.random.Generator, bent: bool) -> BendTest:
    """Finds every bend, and one in twenty that is none."""
    p = 0.001 if bent else float(rng.random())
    return BendTest(0.0, p, 199, p < 0.05, {})


def _estimate(rng: np.random.Generator, truth: float, claimed: float) -> Estimate:
    error = max(RELATIVE_U * abs(truth), 1e-9)
    value, u = truth + error * float(rng.standard_normal()), claimed * error
    return Estimate(value, u, value - K95 * u, value + K95 * u, "", "measured")


def _comparison(name: str, areas: Mapping[str, Estimate]) -> Comparison:
    value = areas[name].value - areas["A"].value
    u = float(np.hypot(areas[name].u, areas["A"].u))
    delta = Delta(value, u, value - K95 * u, value + K95 * u, 1.0, 2.8 * u, "m²")
    return Comparison(name, "A", {"SCx": delta})
