"""The order of a day's outings: the baseline before, between and after the changes, directions in balance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.analysis.asked_day import Pace
from server.analysis.simulate_lengths import longest_trip, trip_lengths
from server.analysis.simulate_plan import RunPlan, SimulationPlan
from server.testday.values import Direction

PAIR: tuple[Direction, Direction] = ("out", "back")


@dataclass(frozen=True, slots=True)
class Outing:
    """One outing: its number, its setup, its pairs of coast-downs (each out and back)."""

    number: int
    setup: str
    pairs: int


def baseline_pairs(pairs: int, changes: int) -> int:
    """Pairs of the baseline that go with `pairs` of each of k changes: n₀ = n √k, at least one a bracket.

    Source: C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096: the allocation of least variance (from memory).
    Raises ValueError for less than one pair or change.
    """
    if pairs < 1 or changes < 1:
        raise ValueError("pairs, changes: at least one is needed")
    return max(math.ceil(pairs * math.sqrt(changes)), changes + 1)


def run_order(baseline: str, changes: Sequence[str], pairs: int) -> tuple[Outing, ...]:
    """Outings A B A C A …: every change has the baseline on both sides, so that a drift of the day cancels.

    pairs: of each change; the baseline's are `baseline_pairs`, spread evenly over its brackets, the outer ones last.
    """
    total, brackets = baseline_pairs(pairs, len(changes)), len(changes) + 1
    inner_first = sorted(range(brackets), key=lambda place: place in (0, brackets - 1))
    share = [total // brackets] * brackets
    for place in inner_first[: total % brackets]:
        share[place] += 1
    blocks = [(baseline, share[0])]
    for place, change in enumerate(changes, start=1):
        blocks += [(change, pairs), (baseline, share[place])]
    return tuple(Outing(number, setup, count) for number, (setup, count) in enumerate(blocks, start=1))


def split_outings(outings: Sequence[Outing], most_pairs: int) -> tuple[Outing, ...]:
    """Outings of no more than `most_pairs` pairs each, as even as can be, numbered anew.

    Raises ValueError for less than one pair.
    """
    if most_pairs < 1:
        raise ValueError("most_pairs: at least one is needed")
    blocks = []
    for one in outings:
        parts = math.ceil(one.pairs / most_pairs)
        blocks += [(one.setup, one.pairs // parts + (i < one.pairs % parts)) for i in range(parts)]
    return tuple(Outing(number, setup, count) for number, (setup, count) in enumerate(blocks, start=1))


def refills(outings: Sequence[Outing], most_pairs: int) -> tuple[bool, ...]:
    """Before which outings the tank must be filled or batteries changed, were it full for the first.

    most_pairs: what one filling drives. Raises ValueError where an outing asks for more than that.
    """
    driven, found = 0, []
    for one in outings:
        if one.pairs > most_pairs:
            raise ValueError(f"outings: outing {one.number} drives more than {most_pairs} pairs")
        found.append(driven + one.pairs > most_pairs)
        driven = one.pairs if found[-1] else driven + one.pairs
    return tuple(found)


def day_plan(plan: SimulationPlan, outings: Sequence[Outing], pace: Pace | None = None) -> SimulationPlan:
    """The plan with these outings on the day's clock, driven like its first run."""
    like, at, runs = plan.runs[0], plan.runs[0].start_clock_s, []
    speeds = like.speeds()[:1]
    for outing in outings:
        run = replace(
            like,
            number=outing.number,
            setup=outing.setup,
            start_clock_s=at,
            directions=PAIR * outing.pairs,
            speeds_mps=speeds * (2 * outing.pairs),
            steady=(),
        )
        runs.append(run)
        at += outing_seconds(plan, run, pace or Pace()) + (pace or Pace()).between_s + (pace or Pace()).change_s
    return replace(plan, runs=tuple(runs))


def outing_seconds(plan: SimulationPlan, run: RunPlan, pace: Pace) -> float:
    """Time that an outing's coast-downs take [s]: each speeds up, coasts, brakes and turns.

    Speeding up and braking are taken at half of their end speeds in the mean.
    """
    trip = trip_lengths(plan, run)
    high, low = run.speeds()[0]
    one = 2.0 * trip.accelerate_m / high + trip.coast_s + 2.0 * trip.brake_m / low + pace.turn_s
    return one * len(run.directions)


def day_seconds(plan: SimulationPlan, pace: Pace | None = None) -> float:
    """From the first outing's start to the last one's end [s], with changes of setup where the setup changes."""
    how = pace or Pace()
    driving = sum(outing_seconds(plan, run, how) for run in plan.runs)
    changed = sum(a.setup != b.setup for a, b in zip(plan.runs, plan.runs[1:], strict=False))
    return driving + how.between_s * (len(plan.runs) - 1) + how.change_s * changed


def room_left(plan: SimulationPlan, head_mps: float = 0.0) -> float:
    """Length of the straight that is left beyond the longest trip and a stop from the highest speed [m].

    head_mps: steady wind against the car [m/s]; below zero it comes from behind, and trips are longer.

    The stop from the highest speed stands at the end whatever the plan is: the car may not get slower as planned.
    Negative where the straight is too short.
    """
    longest = max(longest_trip(plan, run, head_mps) for run in plan.runs)
    fastest = max(high for run in plan.runs for high, _ in run.speeds())
    stop = stopping_distance(fastest, plan.driver.brake_mps2)
    return float(plan.venue.length_m or 0.0) - longest - stop - 2.0 * plan.driver.margin_m


def stopping_distance(speed_mps: float, deceleration_mps2: float, reaction_s: float = 1.5) -> float:
    """v t_r + v²/(2 a) [m].

    speed_mps: v; deceleration_mps2: a; reaction_s: t_r, from seeing to braking

    Raises ValueError for a deceleration that is not above zero.
    Source: the stopping sight distance of road design (AASHTO Green Book: t_r = 2.5 s, a = 3.4 m/s²; from memory).
    """
    if not deceleration_mps2 > 0.0:
        raise ValueError("deceleration_mps2: must be above zero")
    return speed_mps * reaction_s + speed_mps**2 / (2.0 * deceleration_mps2)
