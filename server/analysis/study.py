"""Do the intervals hold? Many simulated days fitted as if they were real, held against their truth.

Coverage of the 95 % intervals with binomial bounds, RMS error, RMS of error over stated u, interval score.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from scipy.stats import beta, binom

from server.analysis.result import DayResult, Delta, Estimate
from server.analysis.simulate import Truth, simulate_day
from server.analysis.simulate_plan import SimulationPlan
from server.heavy.pool import Pool, unheard
from server.heavy.processes import Processes
from server.testday.values import FloatArray, Source

Progress = Callable[[float, str], None]
FORMAT = 1
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Trial:
    """One number of one simulated day. baseline is set for a difference setup − baseline."""

    setup: str
    baseline: str | None
    quantity: str
    unit: str
    source: Source
    truth: float
    value: float
    u: float
    low95: float
    high95: float


@dataclass(frozen=True, slots=True)
class DayTrial:
    """What one simulated day gave: its numbers, or the codes of the findings that say why there are none."""

    seed: int
    trials: tuple[Trial, ...]
    stopped_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StudyRow:
    """One quantity of one setup (or difference) over all days; errors, u and score in `unit`.

    coverage: share of 95 % intervals that held the truth; coverage_low, coverage_high: its 95 % bounds
    (Clopper and Pearson 1934); expected_low, expected_high: where the share lies with 99 % probability when
    the intervals are right. rms_z: RMS of error/u, 1 when u is right. source: where most values came from.
    mean_score: interval score, width + (2/0.05) · distance outside (Gneiting and Raftery 2007).
    """

    setup: str
    baseline: str | None
    quantity: str
    unit: str
    source: Source
    days: int
    held: int
    coverage: float
    coverage_low: float
    coverage_high: float
    expected_low: float
    expected_high: float
    mean_truth: float
    bias: float
    rms_error: float
    rms_z: float
    mean_u95: float
    mean_score: float

    @property
    def name(self) -> str:
        """`A: SCx` or `B − A: SCx`."""
        of = self.setup if self.baseline is None else f"{self.setup} − {self.baseline}"
        return f"{of}: {self.quantity}"


@dataclass(frozen=True, slots=True)
class Study:
    """The study of one plan. without_area: days on which no setup got a drag area; stopped_by: finding codes
    of grade stop → days that had them."""

    name: str
    days: int
    seed: int
    passes: int
    rows: tuple[StudyRow, ...]
    without_area: int
    stopped_by: tuple[tuple[str, int], ...]


def run_study(
    plan: SimulationPlan,
    days: int,
    seed: int,
    workers: int | None = None,
    progress: Progress | None = None,
    *,
    pool: Pool | None = None,
) -> Study:
    """Simulate `days` days of the plan, fit each, and hold the intervals against the truth.

    The same plan, days and seed give the same study on any number of workers (None: one a core), which are
    processes of their own, and on any other pool. Raises ValueError for less than one day; an error in a fit is
    raised with the day's seed.
    """
    if days < 1:
        raise ValueError("days: at least one is needed")
    say = progress or (lambda _fraction, _text: None)
    seeds = day_seeds(seed, days)
    done: list[DayTrial] = []
    for _, trial in (pool or Processes(workers)).each(partial(one_day, plan), seeds, unheard):
        done.append(trial)
        if len(done) == days or len(done) % max(1, days // 50) == 0:
            say(len(done) / days, f"{len(done):,} of {days:,} days")
    return gathered(plan, seed, done)


def gathered(plan: SimulationPlan, seed: int, done: Sequence[DayTrial]) -> Study:
    """The study of the days that were simulated with `day_seeds` of this seed."""
    order = {each: place for place, each in enumerate(day_seeds(seed, len(done)))}
    done = sorted(done, key=lambda trial: order[trial.seed])
    stopped = Counter(code for trial in done for code in set(trial.stopped_by))
    return Study(
        name=plan.name,
        days=len(done),
        seed=seed,
        passes=sum(len(run.directions) for run in plan.runs),
        rows=summarise([trial for day in done for trial in day.trials]),
        without_area=sum(not any(t.quantity == "SCx" for t in day.trials) for day in done),
        stopped_by=tuple(sorted(stopped.items())),
    )


def study_to_json(study: Study) -> dict[str, Any]:
    """The study as a JSON object: numbers unrounded, names as in `StudyRow`."""
    return {
        "format": FORMAT,
        "name": study.name,
        "days": study.days,
        "seed": study.seed,
        "passes": study.passes,
        "without_area": study.without_area,
        "stopped_by": dict(study.stopped_by),
        "rows": [{name: getattr(row, name) for name in row.__slots__} for row in study.rows],
    }


def one_day(plan: SimulationPlan, seed: int, _progress: Progress) -> DayTrial:
    """A day of a study, as pools do it."""
    return fit_simulated_day(plan, seed)


def fit_simulated_day(plan: SimulationPlan, seed: int) -> DayTrial:
    """Simulate and fit one day; every estimate and difference whose truth is known."""
    from server.analysis.day_fit import fit_day

    simulated = simulate_day(plan, seed)
    try:
        result = fit_day(simulated.day)
    except Exception as error:
        error.add_note(f"while fitting the simulated day of seed {seed}")
        raise
    stops = tuple(finding.code for finding in result.findings if finding.grade == "stop")
    return DayTrial(seed, trials_of(result, simulated.truth), stops)


def trials_of(result: DayResult, truth: Truth) -> tuple[Trial, ...]:
    """A result's estimates and differences beside their truth."""
    trials = []
    for setup in result.setups:
        for quantity, estimate in setup.estimates.items():
            true = truth.setups[setup.name].get(quantity)
            if true is not None:
                trials.append(_trial((setup.name, None, quantity), estimate.source, true, estimate))
    for comparison in result.comparisons:
        for quantity, delta in comparison.deltas.items():
            between = (comparison.setup, comparison.baseline, quantity)
            trials.append(_trial(between, "measured", truth.difference(*between), delta))
    return tuple(trials)


def summarise(trials: Sequence[Trial]) -> tuple[StudyRow, ...]:
    """One row per setup or difference and quantity, in order of first appearance."""
    groups: dict[tuple[str, str | None, str], list[Trial]] = {}
    for trial in trials:
        groups.setdefault((trial.setup, trial.baseline, trial.quantity), []).append(trial)
    return tuple(_row(group) for group in groups.values())


def coverage_bounds(held: int, days: int) -> tuple[float, float]:
    """95 % bounds of a share seen `held` times in `days` days (Clopper and Pearson, Biometrika 26, 1934)."""
    low = float(beta.ppf(0.025, held, days - held + 1)) if held > 0 else 0.0
    high = float(beta.ppf(0.975, held + 1, days - held)) if held < days else 1.0
    return low, high


def expected_bounds(days: int) -> tuple[float, float]:
    """Where the share of intervals that hold lies with 99 % probability when each holds with 95 %."""
    return float(binom.ppf(0.005, days, LEVEL)) / days, float(binom.ppf(0.995, days, LEVEL)) / days


def _trial(key: tuple[str, str | None, str], source: Source, truth: float, of: Estimate | Delta) -> Trial:
    return Trial(*key, of.unit, source, truth, of.value, of.u, of.low95, of.high95)


def _row(group: Sequence[Trial]) -> StudyRow:
    first, days = group[0], len(group)
    truth, low, high = (_column(group, name) for name in ("truth", "low95", "high95"))
    error = _column(group, "value") - truth
    outside = np.maximum(low - truth, 0.0) + np.maximum(truth - high, 0.0)
    held = int(np.count_nonzero(outside == 0.0))
    bounds, expected = coverage_bounds(held, days), expected_bounds(days)
    return StudyRow(
        setup=first.setup,
        baseline=first.baseline,
        quantity=first.quantity,
        unit=first.unit,
        source=Counter(trial.source for trial in group).most_common(1)[0][0],
        days=days,
        held=held,
        coverage=held / days,
        coverage_low=bounds[0],
        coverage_high=bounds[1],
        expected_low=expected[0],
        expected_high=expected[1],
        mean_truth=float(np.mean(truth)),
        bias=float(np.mean(error)),
        rms_error=math.sqrt(float(np.mean(error**2))),
        rms_z=math.sqrt(float(np.mean((error / _column(group, "u")) ** 2))),
        mean_u95=float(np.mean(0.5 * (high - low))),
        mean_score=float(np.mean(high - low + 2.0 / (1.0 - LEVEL) * outside)),
    )


def _column(group: Sequence[Trial], name: str) -> FloatArray:
    return np.array([getattr(trial, name) for trial in group], dtype=np.float64)


def day_seeds(seed: int, days: int) -> list[int]:
    """The seed of each day of a study."""
    return [int(np.random.SeedSequence([seed, day]).generate_state(1, np.uint32)[0]) for day in range(days)]
