"""The order of a day: visits to a setup (A, B, A …), runs of a visit, legs of a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulator.scenario import Scenario

LEG_S = 42.0  # nominal; the true length comes out of the motion
TURN_S = 20.0


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """A run: its number, setup, nominal start, when its outing left the pits, and the legs' directions."""

    number: int
    setup: str
    start_clock_s: float
    outing_clock_s: float
    directions: tuple[int, ...]


def visits(scenario: Scenario) -> list[tuple[str, int]]:
    """Setup and pairs of each visit in A-B-A order; the baseline's pairs are spread over its visits."""
    if scenario.setups == 1:
        return [("A", scenario.pairs)]
    base = max(1, -(-scenario.pairs // scenario.setups))
    plan = [("A", base)]
    for name in "BC"[: scenario.setups - 1]:
        plan += [(name, scenario.pairs), ("A", base)]
    return plan


def plan_day(rng: np.random.Generator, scenario: Scenario) -> list[PlannedRun]:
    clock = float(rng.uniform(8.5, 13.0)) * 3600.0
    runs: list[PlannedRun] = []
    for setup, pairs in visits(scenario):
        outing = clock - float(rng.uniform(60.0, 240.0))
        directions = [1] * (2 * pairs) if scenario.one_way else [1, -1] * pairs
        size = 1 if scenario.one_way else scenario.passes_per_run
        for k in range(0, len(directions), size):
            legs = tuple(directions[k : k + size])
            runs.append(PlannedRun(len(runs) + 1, setup, round(clock), outing, legs))
            clock += len(legs) * (LEG_S + TURN_S) + float(rng.uniform(40.0, 180.0))
        clock += float(rng.uniform(900.0, 1800.0))
    return runs
