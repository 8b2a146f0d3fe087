"""Has the baseline moved over the day? Its runs against each other, in the joint posterior of the day.

Every later run of the baseline gets its own drag area, downforce area (where sensors measure it) and rolling
resistance beside the first one's (`added_columns`), all free at once; wind, gusts, tyre scatter and what all setups
share stay in the model. χ² of the differences of a quantity, with its joint covariance, judges whether it moved; three
quantities share the level, so that a day on which nothing moves is called moved in at most 5 %.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtrc

from server.analysis.added_columns import Added, ColumnAdder
from server.analysis.day_posterior import DayPosterior
from server.analysis.result import BaselineDrift, Estimate
from server.testday.values import Day, FloatArray, Source

LEVEL = 0.05
NORMAL_95 = 1.959964
WEAK = {"scx": 2.0, "scz_front": 4.0, "scz_rear": 4.0, "c0": 0.02}  # [m², 1]: far wider than any drift


def baseline_drift(posterior: DayPosterior, day: Day, adder: ColumnAdder | None = None) -> tuple[BaselineDrift, ...]:
    """SCx, SCz (measured) and rolling resistance of the baseline's later runs against its first; empty for one run."""
    name = baseline_of(day, posterior.problem.setup_names)
    runs = baseline_runs(posterior, name)
    if len(runs) < 2:
        return ()
    adder = adder or ColumnAdder(posterior)
    measured = name in posterior.problem.measured_setups
    parameters = ["scx", *(["scz_front", "scz_rear"] if measured else []), "c0"]
    columns, prior = [], []
    for parameter in parameters:
        full = parameter if parameter == "c0" else f"{parameter}:{name}"
        for _, passes in runs[1:]:
            columns.append(adder.column(full, passes))
            prior.append(WEAK[parameter])
    added = adder.solve(np.column_stack(columns), np.array(prior))
    return _told(added, [number for number, _ in runs], parameters, name)


def baseline_of(day: Day, fitted: Sequence[str]) -> str:
    """The baseline of a day: the setup that most others name; the first that was fitted where none does."""
    named = [setup.baseline for setup in day.setups if setup.baseline in fitted]
    return max(fitted, key=lambda name: (named.count(name), -list(fitted).index(name)))


def baseline_runs(posterior: DayPosterior, name: str) -> list[tuple[int, list[int]]]:
    """Runs of a setup by the clock, each with the places of its coast-downs in the grid."""
    found: dict[int, list[int]] = {}
    for place, data in enumerate(posterior.problem.grid.passes):
        if data.of.setup == name and data.of.kind == "coast-down":
            found.setdefault(data.of.run, []).append(place)
    clock = {run: posterior.problem.grid.passes[places[0]].clock_s for run, places in found.items()}
    return sorted(found.items(), key=lambda one: clock[one[0]])


def _told(added: Added, runs: list[int], parameters: list[str], name: str) -> tuple[BaselineDrift, ...]:
    later = len(runs) - 1
    place = {parameter: slice(later * i, later * (i + 1)) for i, parameter in enumerate(parameters)}
    pick = {"SCx": _picked(place["scx"], len(added.value)), "c0": _picked(place["c0"], len(added.value))}
    if "scz_front" in place:
        both = (_picked(place[axle], len(added.value)) for axle in ("scz_front", "scz_rear"))
        pick["SCz"] = np.sum(list(both), axis=0)
    limit = LEVEL / len(pick)
    return tuple(_quantity(added, quantity, weights, runs, (name, limit)) for quantity, weights in pick.items())


def _picked(part: slice, count: int) -> FloatArray:
    return np.eye(count)[part]


def _quantity(
    added: Added, quantity: str, weights: FloatArray, runs: list[int], said: tuple[str, float]
) -> BaselineDrift:
    name, limit = said
    value, covariance = weights @ added.value, weights @ added.covariance @ weights.T
    statistic = float(value @ np.linalg.solve(covariance, value))
    p = float(chdtrc(len(value), statistic))
    unit = "–" if quantity == "c0" else "m²"
    changes = tuple(_estimate(v, u, unit) for v, u in zip(value, np.sqrt(np.diag(covariance)), strict=True))
    return BaselineDrift(name, quantity, tuple(runs), changes, statistic, p, p < limit)


def _estimate(value: float, u: float, unit: str, source: Source = "measured") -> Estimate:
    half = NORMAL_95 * u
    return Estimate(float(value), float(u), float(value - half), float(value + half), unit, source)
