"""Does a planned day tell what its plan said? Random plans, each held against simulated days that it did not see."""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from server.analysis.asked_day import MOST_PAIRS, DayRequest, Wanted
from server.analysis.day_request import request_plan
from server.analysis.pass_planning import NORMAL_95, PassPlanning, as_gusty, plan_passes
from server.analysis.run_order import day_plan, run_order
from server.analysis.simulate_plan import SimulationPlan
from server.analysis.study import fit_simulated_day
from server.testday.values import Quantity

TOLERANCE = 0.20
FRESH_DAYS = 4
PLANNED_TWICE = 5  # every so many plans
AGAIN = 500_000_000


@dataclass(frozen=True, slots=True)
class PlanTrial:
    """One difference of one plan [m²]: what the plan said, what fresh days gave in the mean, and their RMS error.

    fresh_m2: U95 of each of them; their gusts stand for all that the plan lets expect, as the planner's do.
    again_m2: what the plan would have said with other simulated days, of every fifth plan.
    """

    seed: int
    pairs: int
    changes: int
    gust_mps: float
    expected_m2: float
    given_m2: float
    rms_error_m2: float
    closed_form_m2: float
    fresh_m2: tuple[float, ...] = ()
    again_m2: float | None = None

    @property
    def study_sd(self) -> float:
        """Relative standard error of `given_m2` from the number of fresh days; nan for fewer than two.

        Their gusts are not drawn alike but spread out, so that this is a bound rather than an estimate.
        """
        if len(self.fresh_m2) < 2:
            return float("nan")
        return float(np.std(self.fresh_m2, ddof=1) / np.sqrt(len(self.fresh_m2)) / self.given_m2)

    @property
    def ratio(self) -> float:
        """Expected over given."""
        return self.expected_m2 / self.given_m2


def random_request(seed: int) -> DayRequest:
    """A request as teams may make it: one to three changes, calm to gusty, slow to fast."""
    rng = np.random.default_rng(seed)
    changes = int(rng.integers(1, 4))
    wanted = tuple(Wanted("BCD"[i], float(rng.uniform(0.03, 0.10))) for i in range(changes))
    high = float(rng.uniform(22.0, 32.0))
    return DayRequest(
        f"plan {seed}",
        "A",
        wanted,
        high_mps=high,
        low_mps=float(rng.uniform(6.0, 11.0)),
        length_m=2000.0,
        gust_sd_mps=float(np.exp(rng.uniform(np.log(0.15), np.log(0.9)))),
    )


def try_plan(seed: int) -> list[PlanTrial]:
    """Plan a request, then fit days of the planned order that the planner did not simulate."""
    request = random_request(seed)
    plan = _drawn(request_plan(request), seed)
    found = plan_passes(plan, "A", request.wanted, seed=seed)
    again = plan_passes(plan, "A", request.wanted, seed=seed + AGAIN) if seed % PLANNED_TWICE == 0 else None
    day = day_plan(plan, run_order("A", [one.setup for one in request.wanted], found.pairs))
    trials = [
        one
        for fresh in range(FRESH_DAYS)
        for one in fit_simulated_day(as_gusty(day, fresh), 900_000_000 + 100 * seed + fresh).trials
        if one.quantity == "SCx" and one.baseline == "A"
    ]
    return [
        PlanTrial(
            seed,
            found.pairs,
            len(request.wanted),
            plan.wind.gust_sd_mps.value,
            told.u95_m2,
            float(np.mean([0.5 * (one.high95 - one.low95) for one in mine])),
            float(np.sqrt(np.mean([(one.value - one.truth) ** 2 for one in mine]))),
            told.closed_form_m2,
            tuple(0.5 * (one.high95 - one.low95) for one in mine),
            _said_at(again, told.setup, found.pairs) if again else None,
        )
        for told in found.differences
        if (mine := [one for one in trials if one.setup == told.setup])
    ]


def _said_at(planning: PassPlanning, setup: str, pairs: int) -> float:
    """What a plan says of another number of pairs."""
    one = next(each for each in planning.differences if each.setup == setup)
    return float(np.sqrt(one.floor_m2**2 + one.per_pair_m4 / pairs))


def _drawn(plan: SimulationPlan, seed: int) -> SimulationPlan:
    """The plan with setups of other areas than the default's."""
    rng = np.random.default_rng([seed, 1])
    setups = tuple(replace(one, scx_m2=Quantity(float(rng.uniform(0.9, 1.8)), 0.05)) for one in plan.setups)
    return replace(plan, setups=setups)


def run(first_seed: int, plans: int, store: Path | None) -> list[PlanTrial]:
    """Try the plans one after the other; those that `store` holds are read from it."""
    lines = store.read_text("utf-8").splitlines() if store and store.exists() else []
    kept = [json.loads(line) for line in lines]
    done = [PlanTrial(**one | {"fresh_m2": tuple(one.get("fresh_m2", ()))}) for one in kept]
    for seed in range(first_seed, first_seed + plans):
        if any(one.seed == seed for one in done):
            continue
        for one in try_plan(seed):
            done.append(one)
            if store:
                with store.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(asdict(one)) + "\n")
        print(f"\r{seed - first_seed + 1} of {plans} plans", end="", file=sys.stderr, flush=True)
    return done


def report(trials: Sequence[PlanTrial]) -> str:
    """How near the plans' intervals came."""
    ratio = np.array([one.ratio for one in trials])
    near = np.abs(ratio - 1.0) <= TOLERANCE
    error = np.array([one.rms_error_m2 * NORMAL_95 / one.expected_m2 for one in trials])
    closed = np.array([one.closed_form_m2 / one.given_m2 for one in trials])
    plans, out = len({one.seed for one in trials}), sum(one.pairs >= MOST_PAIRS for one in trials)
    return (
        f"{plans} plans, {len(trials)} differences: expected over given {np.median(ratio):.2f} in the median, "
        f"{np.quantile(ratio, 0.05):.2f} to {np.quantile(ratio, 0.95):.2f} for nine of ten; "
        f"within {100 * TOLERANCE:.0f} %: {100 * np.mean(near):.0f} %. Errors against the expected u: "
        f"{np.sqrt(np.mean(error**2)):.2f} RMS. Closed form over given {np.median(closed):.2f}, "
        f"{np.quantile(closed, 0.05):.2f} to {np.quantile(closed, 0.95):.2f}. {out} at the most pairs."
        f"{where_it_comes_from(trials)}"
    )


def where_it_comes_from(trials: Sequence[PlanTrial]) -> str:
    """The scatter of expected over given, and how much of it is the study's own few fresh days and the planner's own
    few simulated days: relative standard deviations; what is left is the planner's model."""
    spread = float(np.std([math.log(one.ratio) for one in trials]))
    fresh = [one.study_sd for one in trials if len(one.fresh_m2) > 1]
    twice = [math.log(one.again_m2 / one.expected_m2) for one in trials if one.again_m2]
    if not fresh or not twice:
        return ""
    study, planner = math.sqrt(np.mean(np.square(fresh))), math.sqrt(0.5 * np.mean(np.square(twice)))
    left = math.sqrt(max(spread**2 - study**2 - planner**2, 0.0))
    return (
        f" The ratio scatters by {100 * spread:.0f} %: at most {100 * study:.0f} % from {FRESH_DAYS} fresh days,"
        f" {100 * planner:.0f} % from the planner's own days ({len(twice)} planned twice), {100 * left:.0f} % from"
        f" neither."
    )
