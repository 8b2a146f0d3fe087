"""Is a brake dragging? One run, or all from one on, with more resistance than the day's tyres explain.

A brake that drags pulls with a force that hardly changes with speed: it looks like rolling resistance, but of some runs
alone. Each suspicion is one more column beside the posterior's (`added_columns`): c0 of those runs, times the weight.
What it is judged by holds the tyres' scatter, their warm-up and their drift over the day. The largest of all
suspicions must be one that chance gives on at most LEVEL of healthy days. Where the log tells the brake's pressure, a
pressure while coasting that the other runs do not have is said beside it, or by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from server.analysis.added_columns import ColumnAdder
from server.analysis.day_posterior import DayPosterior
from server.testday.values import Day, Finding, Run

LEVEL = 0.04
LEAST_FORCE_N = 3.0
LEAST_PRESSURE_PA = 50_000.0
WEAK_C0 = 0.05
GRAVITY_MPS2 = 9.80665
NORMAL_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Runs that coast against `force_n` more than the others, with its u."""

    runs: tuple[int, ...]
    force_n: float
    u_n: float

    @property
    def z(self) -> float:
        """Force in its standard uncertainties."""
        return self.force_n / self.u_n


def brake_findings(posterior: DayPosterior, day: Day, adder: ColumnAdder | None = None) -> list[Finding]:
    """At most one finding of resistance, and one a run of pressure."""
    found = suspicions(posterior, adder)
    pressures = coasting_pressures(posterior, day)
    pressed = {run: excess for run, excess in pressures.items() if excess > LEAST_PRESSURE_PA}
    worst = max(found, key=lambda one: one.z, default=None)
    said: list[Finding] = []
    if worst is not None and worst.z > limit_of(len(found), spare_passes(posterior)) and worst.force_n > LEAST_FORCE_N:
        said.append(_resisting(worst, pressed))
    told = set(worst.runs) if said and worst else set()
    return said + [_pressing(run, excess) for run, excess in sorted(pressed.items()) if run not in told]


def limit_of(count: int, freedom: int) -> float:
    """How many u the largest of so many suspicions must lie above nil, by Student's t.

    freedom: passes beyond those that the areas take: the tyres' scatter is known from them alone.
    """
    return float(stdtrit(freedom, 1.0 - LEVEL / count)) if count and freedom > 0 else np.inf


def spare_passes(posterior: DayPosterior) -> int:
    """Coast-downs less one for each setup and one for the rolling resistance."""
    coasts = sum(data.of.kind == "coast-down" for data in posterior.problem.grid.passes)
    return coasts - len(posterior.problem.setup_names) - 1


def suspicions(posterior: DayPosterior, adder: ColumnAdder | None = None) -> list[Suspicion]:
    """Every run by itself, and every run with all after it, against the rest of the day."""
    grid, runs = posterior.problem.grid, _runs_by_clock(posterior)
    if len(runs) < 2:
        return []
    adder, places = adder or ColumnAdder(posterior), list(runs.values())
    numbers = list(runs)
    spans = [(i, i + 1) for i in range(len(numbers))]
    spans += [(i, len(numbers)) for i in range(1, len(numbers) - 1)]  # the last run by itself stands there already
    found = []
    for first, end in spans:
        chosen, passes = tuple(numbers[first:end]), [place for run in places[first:end] for place in run]
        added = adder.solve(adder.column("c0", passes)[:, None], np.array([WEAK_C0]))
        weight = GRAVITY_MPS2 * float(np.mean(grid.mass[passes]))
        force, u = weight * float(added.value[0]), weight * float(np.sqrt(added.covariance[0, 0]))
        found.append(Suspicion(chosen, force, u))
    return found


def _runs_by_clock(posterior: DayPosterior) -> dict[int, list[int]]:
    passes = posterior.problem.grid.passes
    order = sorted((i for i, p in enumerate(passes) if p.of.kind == "coast-down"), key=lambda i: passes[i].clock_s)
    runs: dict[int, list[int]] = {}
    for place in order:
        runs.setdefault(passes[place].of.run, []).append(place)
    return runs


def coasting_pressures(posterior: DayPosterior, day: Day) -> dict[int, float]:
    """Brake pressure in the coast-downs of each run above the median of the other runs [Pa], where two are logged."""
    passes = posterior.problem.grid.passes
    told: dict[int, float] = {}
    for run in day.runs:
        spans = [(p.of.start_s, p.of.end_s) for p in passes if p.of.run == run.number and p.of.kind == "coast-down"]
        values = list(_pressures(run, spans))
        if values:
            told[run.number] = float(np.median(np.concatenate(values)))
    others = {run: [value for number, value in told.items() if number != run] for run in told}
    return {run: told[run] - float(np.median(rest)) for run, rest in others.items() if rest}


def _pressures(run: Run, spans: Sequence[tuple[float, float]]) -> Iterator[np.ndarray]:
    for recording in run.recordings:
        signal = recording.signals.get("brake_pressure")
        if signal is None or np.ptp(signal.values) < LEAST_PRESSURE_PA:  # a switch, or a channel that never moves
            continue
        for start, end in spans:
            inside = (signal.time_s >= start) & (signal.time_s <= end)
            if inside.any():
                yield signal.values[inside]


def _resisting(worst: Suspicion, pressed: Mapping[int, float]) -> Finding:
    numbers = ", ".join(map(str, worst.runs))
    which = f"Runs {numbers} coast" if len(worst.runs) > 1 else f"Run {numbers} coasts"
    text = (
        f"{which} against {worst.force_n:.0f} ± {NORMAL_95 * worst.u_n:.0f} N more than the rest of the day, at every "
        "speed alike: a brake may be dragging"
    )
    more = [f"{excess / 1e5:.1f} bar" for run, excess in pressed.items() if run in worst.runs]
    text += f" (brake pressure while coasting is {more[0]} above that of the other runs)" if more else ""
    text += ", or a tyre lost pressure. Let it cool, then lift the car and turn each wheel by hand."
    return Finding("brake-dragging", "check", text, worst.runs[0])


def _pressing(run: int, excess_pa: float) -> Finding:
    text = (
        f"Brake pressure in the coast-downs of run {run} is {excess_pa / 1e5:.1f} bar above that of the other runs: a "
        "foot on the pedal, a master cylinder that does not release, or a sensor whose zero moved."
    )
    return Finding("brake-pressed", "check", text, run)
