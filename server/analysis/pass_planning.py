"""How many passes does a wanted interval take? Days are simulated and fitted, with a closed form beside it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls
from scipy.special import ndtri

from server.analysis.asked_day import MOST_PAIRS, Wanted
from server.analysis.run_order import Outing, baseline_pairs, day_plan, run_order
from server.analysis.simulate_lengths import coast_down_times
from server.analysis.simulate_plan import SimulationPlan
from server.analysis.simulate_truth import density_at
from server.analysis.study import fit_simulated_day
from server.testday.values import Quantity

Progress = Callable[[float, str], None]
FIRST_PAIRS = (2, 4)
MOST_SIMULATED = 8
DAYS_EACH = 4
STRENGTHS = ((0, 2), (1, 0), (2, 3), (3, 1))  # places of a day's gust strength and gust time among their quarters
QUANTITY = "SCx"
NORMAL_95 = 1.959964


@dataclass(frozen=True, slots=True)
class PlannedDifference:
    """What the planned day is expected to tell of one difference [m²].

    pairs: of the setup, that reach the wanted U95; None where MOST_PAIRS do not. u95_m2: expected at the plan's
    pairs; floor_m2: s, what no number of pairs gets below; per_pair_m4: a of U95² = s² + a/n; closed_form_m2: U95
    from gusts and tyres alone.
    """

    setup: str
    wanted_u95_m2: float
    pairs: int | None
    u95_m2: float
    floor_m2: float
    per_pair_m4: float
    closed_form_m2: float

    def pairs_if(self, grown: float) -> int | None:
        """Pairs that reach the wanted U95 where a is `grown` times as large; None where MOST_PAIRS do not."""
        return pairs_for(self.wanted_u95_m2, self.floor_m2**2, grown * self.per_pair_m4)


@dataclass(frozen=True, slots=True)
class PassPlanning:
    """The plan: pairs of each change, the baseline's, and whether every wanted U95 is reached; days: simulated."""

    pairs: int
    baseline_pairs: int
    reached: bool
    differences: tuple[PlannedDifference, ...]
    days: int


def plan_passes(
    plan: SimulationPlan, baseline: str, wanted: Sequence[Wanted], seed: int = 1, progress: Progress | None = None
) -> PassPlanning:
    """The smallest number of pairs a change with which every difference reaches its wanted U95.

    Days of the baseline and the change that is hardest to tell are simulated at 2 and 4 pairs, then at the number
    found; U95(n)² = s² + a/n goes through what they tell. The other changes' curves are that one, scaled by their
    closed forms. Raises ValueError where nothing is wanted, or not one simulated day gave the difference.
    """
    if not wanted:
        raise ValueError("wanted: at least one difference is needed")
    say, seen = progress or (lambda _fraction, _text: None), _Seen(plan, baseline, wanted, seed)
    for place, pairs in enumerate(FIRST_PAIRS):
        seen.simulate(pairs, _part(say, 0.2 * place, 0.2))
    pairs = seen.needed()
    if pairs not in FIRST_PAIRS:
        seen.simulate(min(pairs, MOST_SIMULATED), _part(say, 0.4, 0.6))
        pairs = seen.needed()
    return seen.planning(pairs)


def _part(say: Progress, first: float, share: float) -> Progress:
    """Progress of a part of the work that begins at `first` and takes `share`."""
    return lambda fraction, text: say(first + share * fraction, text)


class _Seen:
    """U95 of simulated days by number of pairs, and the curve through them."""

    def __init__(self, plan: SimulationPlan, baseline: str, wanted: Sequence[Wanted], seed: int) -> None:
        self._plan, self._baseline, self._wanted, self._seed = plan, baseline, wanted, seed
        self._changes = [one.setup for one in wanted]
        alike = self._day(FIRST_PAIRS[0])
        self._closed = {name: closed_form_u95(alike, name, baseline) for name in self._changes}
        self._hardest = min(wanted, key=lambda one: one.u95_m2 / self._closed[one.setup]).setup
        self._u95: dict[int, list[float]] = {}
        self._days = 0

    def simulate(self, pairs: int, progress: Progress) -> None:
        """Simulate and fit days of this many pairs, of the baseline and the hardest change alone."""
        base = baseline_pairs(pairs, len(self._changes))
        blocks = ((self._baseline, base - base // 2), (self._hardest, pairs), (self._baseline, base // 2))
        outings = [Outing(number, name, count) for number, (name, count) in enumerate(blocks, start=1) if count]
        two = tuple(one for one in self._plan.setups if one.setup.name in (self._baseline, self._hardest))
        plan = day_plan(replace(self._plan, setups=two), outings)
        for day in range(DAYS_EACH):
            progress(day / DAYS_EACH, f"simulated day {day + 1} of {DAYS_EACH}, {pairs} pairs")
            trial = fit_simulated_day(as_gusty(plan, day), 1000 * self._seed + 10 * pairs + day)
            self._days += 1
            told = [one for one in trial.trials if one.quantity == QUANTITY and one.baseline == self._baseline]
            self._u95.setdefault(pairs, []).extend(0.5 * (one.high95 - one.low95) for one in told)

    def needed(self) -> int:
        """The largest of the numbers that the differences need; MOST_PAIRS where one is out of reach."""
        found = [pairs_for(one.u95_m2, *self._curve(one.setup)) for one in self._wanted]
        return max(MOST_PAIRS if pairs is None else pairs for pairs in found)

    def planning(self, pairs: int) -> PassPlanning:
        differences = tuple(self._planned(one, pairs) for one in self._wanted)
        return PassPlanning(
            pairs=pairs,
            baseline_pairs=baseline_pairs(pairs, len(self._wanted)),
            reached=all(one.pairs is not None for one in differences),
            differences=differences,
            days=self._days,
        )

    def _planned(self, one: Wanted, pairs: int) -> PlannedDifference:
        floor, per_pair = self._curve(one.setup)
        return PlannedDifference(
            setup=one.setup,
            wanted_u95_m2=one.u95_m2,
            pairs=pairs_for(one.u95_m2, floor, per_pair),
            u95_m2=math.sqrt(floor + per_pair / pairs),
            floor_m2=math.sqrt(floor),
            per_pair_m4=per_pair,
            closed_form_m2=closed_form_u95(self._day(pairs), one.setup, self._baseline),
        )

    def _day(self, pairs: int) -> SimulationPlan:
        return day_plan(self._plan, run_order(self._baseline, self._changes, pairs))

    def _curve(self, setup: str) -> tuple[float, float]:
        """s² and a of U95² = s² + a/n, neither below zero, least squares of the relative misfit."""
        if not any(self._u95.values()):
            raise ValueError(f"wanted: no simulated day told the difference of {self._hardest!r}")
        counts = np.array(sorted(n for n, found in self._u95.items() if found), float)
        square = np.array([np.mean(self._u95[int(n)]) ** 2 for n in counts])
        design = np.column_stack([np.ones_like(counts), 1.0 / counts]) / square[:, None]
        (floor, per_pair), _ = nnls(design, np.ones_like(counts))
        scale = (self._closed[setup] / self._closed[self._hardest]) ** 2
        return float(scale * floor), float(scale * per_pair)


def as_gusty(plan: SimulationPlan, day: int) -> SimulationPlan:
    """The plan for one of four days that stand for all: its gusts' strength and time from the middle of a quarter of
    what the plan lets expect, each quarter once.

    Days with gusts drawn at random differ by 20 % in U95 from that alone, and a mean of four by 10 %.
    """
    strength, time = (float(ndtri((place + 0.5) / len(STRENGTHS))) for place in STRENGTHS[day % len(STRENGTHS)])
    sd, length = plan.wind.gust_sd_mps, plan.wind.gust_time_s
    wind = replace(
        plan.wind,
        gust_sd_mps=Quantity(max(sd.value + strength * sd.u, 0.1 * sd.value)),
        gust_time_s=Quantity(max(length.value + time * length.u, 0.1 * length.value)),
    )
    return replace(plan, wind=wind)


def pairs_for(wanted_u95_m2: float, floor_m4: float, per_pair_m4: float) -> int | None:
    """The smallest n with s² + a/n ≤ U95²; None where MOST_PAIRS do not reach it."""
    rest = wanted_u95_m2**2 - floor_m4
    pairs = math.ceil(per_pair_m4 / rest) if rest > 0.0 else MOST_PAIRS + 1
    return max(1, pairs) if pairs <= MOST_PAIRS else None


def closed_form_u95(plan: SimulationPlan, setup: str, baseline: str) -> float:
    """U95 of a difference of SCx from gusts and the tyres' scatter alone [m²], without a fit.

    A coast-down's lost energy gives SCx; a gust w and a pass's own rolling share ε change it by

        δSCx = −2 SCx ∫U v w dt / ∫U² v dt − ε c0 m g ∫v dt / (½ρ ∫U² v dt), U = v ± W

    W: the mean wind along the straight, half of the passes against it.
    var ∫U v w dt = 2 σ² τ ∫U² v² dt for gusts short against the pass; passes are independent, so that
    u² = u_pass² (1/N_setup + 1/N_baseline). What setups share cancels and is not in it.
    """
    variance = 0.0
    for name in (setup, baseline):
        area = next(one.scx_m2.value for one in plan.setups if one.setup.name == name)
        passes = sum(len(run.directions) for run in plan.runs if run.setup == name)
        from_gusts, from_tyres = pass_variances(plan, area)
        variance += (from_gusts + from_tyres) / passes
    return NORMAL_95 * math.sqrt(variance)


def pass_variances(plan: SimulationPlan, drag_area_m2: float) -> tuple[float, float]:
    """Variance of a coast-down's SCx from gusts, and from the tyres' scatter [m⁴], in the mean of a pass against the
    mean wind and one with it: see `closed_form_u95`."""
    along = plan.wind.head_out_mps.value
    both = [_variances_of_pass(plan, drag_area_m2, head) for head in (along, -along)]
    return 0.5 * (both[0][0] + both[1][0]), 0.5 * (both[0][1] + both[1][1])


def _variances_of_pass(plan: SimulationPlan, drag_area_m2: float, head_mps: float) -> tuple[float, float]:
    speed, step = coast_down_times(plan, plan.runs[0], head_mps=head_mps)
    air = speed + head_mps
    cube = float(np.sum(air * np.abs(air) * speed * step))
    gust_power = 2.0 * plan.wind.gust_sd_mps.value**2 * plan.wind.gust_time_s.value
    from_gusts = 4.0 * gust_power * float(np.sum((air * speed) ** 2 * step)) / cube**2
    mass = plan.car.mass_kg.value + plan.runs[0].driver_mass_kg.value
    density = density_at(plan.weather, plan.runs[0].start_clock_s, (0.0, 0.0, 0.0))
    rolling = plan.tyres.pass_scatter_rel * plan.car.rolling_c0.value * mass * plan.gravity_mps2
    from_tyres = rolling * float(np.sum(speed * step)) / (0.5 * density * cube)
    return drag_area_m2**2 * from_gusts, from_tyres**2


def variance_in_wind(plan: SimulationPlan, along_mps: float) -> float:
    """Variance of a coast-down's SCx with this mean wind along the straight [m⁴], by the closed form."""
    wind = replace(plan.wind, head_out_mps=Quantity(along_mps, plan.wind.head_out_mps.u))
    return sum(pass_variances(replace(plan, wind=wind), plan.setups[0].scx_m2.value))


def gust_share(plan: SimulationPlan) -> float:
    """The gusts' part of a coast-down's variance, by the closed form."""
    from_gusts, from_tyres = pass_variances(plan, plan.setups[0].scx_m2.value)
    return from_gusts / (from_gusts + from_tyres) if from_gusts > 0.0 else 0.0
