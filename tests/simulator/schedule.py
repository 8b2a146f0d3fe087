"""The order of a day: visits to a setup (A, B, A …), runs of a visit, legs of a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulator.scenario import Scenario

LEG_S = 42.0  # nominal; the true length comes out of the motion
TURN_S = 20.0


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """A run: its number, setup, nominal start, when its outing left the pits, and the legs' directions.

    cruise_mps: the speed that each leg holds, 0 for a coast-down.
    """

    number: int
    setup: str
    start_clock_s: float
    outing_clock_s: float
    directions: tuple[int, ...]
    cruise_mps: tuple[float, ...]


def visits(scenario: Scenario) -> list[tuple[str, int]]:
    """Setup and pairs of each visit in A-B-A order; the baseline's pairs are spread over its visits."""
    if scenario.setups == 1:
        return [("A", scenario.pairs)]
    base = max(1, -(-scenario.pairs // scenario.setups))
    plan = [("A", base)]
    for name in "BC"[: scenario.setups - 1]:
        plan += [(name, scenario.pairs), ("A", base)]
    return plan


def plan_day(
    rng: np.random.Generator, scenario: Scenario, steady_rng: np.random.Generator | None = None
) -> list[PlannedRun]:
    """The runs of the day. Held speeds come on each setup's first visit, in its last run or in runs of their
    own by a draw from steady_rng."""
    clock = float(rng.uniform(8.5, 13.0)) * 3600.0
    joined = bool(scenario.constant_speeds_mps and steady_rng and steady_rng.random() < 0.5)
    runs: list[PlannedRun] = []
    seen: set[str] = set()
    for setup, pairs in visits(scenario):
        outing = clock - float(rng.uniform(60.0, 240.0))
        speeds = () if setup in seen else scenario.constant_speeds_mps
        seen.add(setup)
        for legs in _runs_of_visit(scenario, pairs, speeds, joined):
            directions, cruise = zip(*legs, strict=True)
            runs.append(PlannedRun(len(runs) + 1, setup, round(clock), outing, directions, cruise))
            clock += len(legs) * (LEG_S + TURN_S) + float(rng.uniform(40.0, 180.0))
        clock += float(rng.uniform(900.0, 1800.0))
    return runs


def _runs_of_visit(
    scenario: Scenario, pairs: int, speeds: tuple[float, ...], joined: bool
) -> list[list[tuple[int, float]]]:
    """The legs of each run as direction and held speed."""
    size = 1 if scenario.one_way else scenario.passes_per_run
    ways = (1, 1) if scenario.one_way else (1, -1)
    coasts = [(way, 0.0) for _ in range(pairs) for way in ways]
    held = [(way, speed) for speed in speeds for way in ways]
    runs = [coasts[k : k + size] for k in range(0, len(coasts), size)]
    if joined and size > 1:
        runs[-1] = runs[-1] + held
        return runs
    return runs + [held[k : k + size] for k in range(0, len(held), size)]
