"""What is said between two outings, held against simulated days.

    python -m tests.studies.trackside promises --days 108 --first-seed 2610101
    python -m tests.studies.trackside brakes --days 180 --first-seed 2611001 --force 0
    python -m tests.studies.trackside drift --days 54 --first-seed 2611401 --change 0.15

promises: U95 that a day is told more passes would bring, over that which a fit gives once they are driven. brakes: how
often a brake is said to drag, and in the right run, when one run coasts against this much more. drift: how often the
baseline is said to have moved when its last run has this much more drag area.
"""

from __future__ import annotations

import argparse
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np

from server.analysis.day_fit import fit_day
from server.analysis.simulate import simulate_day
from server.analysis.simulate_plan import SimulationPlan, default_plan
from server.analysis.study import coverage_bounds
from server.testday.values import Day, Direction, Quantity

GUSTS = (0.3, 0.6, 1.0)
MORE = (2, 4, 8)
TOLERANCE = 0.20
AREA_M2 = 1.45
Record = dict[str, Any]


def plan_of(seed: int) -> SimulationPlan:
    """Days of A, B, A with two to four pairs a setup, calm to gusty."""
    return default_plan(pairs=2 + (seed // 3) % 3, gust_sd_mps=GUSTS[seed % 3])


def promise(seed: int) -> Record:
    """U95 of B and of B − A promised for more passes of B, over those that the fit of them gives."""
    plan, more = plan_of(seed), MORE[(seed // 9) % 3]
    last, ways = plan.runs[-1], ("out", "back") * more
    directions: tuple[Direction, ...] = ways[:more]  # type: ignore[assignment]
    added = replace(
        last, number=last.number + 1, setup="B", start_clock_s=last.start_clock_s + 1500.0, directions=directions
    )
    day = simulate_day(replace(plan, runs=(*plan.runs, added)), seed).day
    before, after = fit_day(replace(day, runs=day.runs[:-1])), fit_day(day)
    told = [one for one in before.outlook if [(a.setup, a.out + a.back) for a in one.added] == [("B", more)]]
    old, new = _widths(before), _widths(after)
    names = [name for name in told[0].shrink if name in old and name in new] if told else []
    ratios = {name: old[name] * told[0].shrink[name] / new[name] for name in names if "B" in name}
    return {"seed": seed, "ratios": ratios}


def _widths(result: Any) -> dict[str, float]:
    areas = {one.name: one.estimates["SCx"].u95 for one in result.setups if "SCx" in one.estimates}
    return areas | {f"{one.setup} − {one.baseline}": one.deltas["SCx"].u95 for one in result.comparisons}


def dragging_day(seed: int, force_n: float) -> tuple[Day, int]:
    """A day, one run of which coasts against a force; and that run's number."""
    plan, place = plan_of(seed), seed % 3
    runs = [replace(run, brake_drag_n=force_n if i == place else 0.0) for i, run in enumerate(plan.runs)]
    return simulate_day(replace(plan, runs=tuple(runs)), seed).day, runs[place].number


def brake(seed: int, force_n: float) -> Record:
    """Whether a brake is said to drag, and in which run."""
    day, run = dragging_day(seed, force_n)
    said = [finding.run for finding in fit_day(day).findings if finding.code == "brake-dragging"]
    return {"seed": seed, "said": bool(said), "right": said == [run]}


def moved_day(seed: int, change_m2: float) -> Day:
    """A day whose baseline has another drag area in its last run than in its first."""
    plan = plan_of(seed)
    first = replace(plan.setups[0], scx_m2=Quantity(AREA_M2, 0.0))
    later = replace(first, setup=replace(first.setup, name="later"), scx_m2=Quantity(AREA_M2 + change_m2, 0.0))
    runs = (*plan.runs[:2], replace(plan.runs[2], setup="later"))
    day = simulate_day(replace(plan, setups=(first, plan.setups[1], later), runs=runs), seed).day
    renamed = tuple(replace(run, setup="A" if run.setup == "later" else run.setup) for run in day.runs)
    return replace(day, setups=day.setups[:2], runs=renamed)


def drift(seed: int, change_m2: float) -> Record:
    """What is said to have moved, and the change that is told of SCx with its u."""
    found = fit_day(moved_day(seed, change_m2)).drift
    area = next((one.changes[-1] for one in found if one.quantity == "SCx"), None)
    z = (area.value - change_m2) / area.u if area else float("nan")
    return {"seed": seed, "said": any(one.moved for one in found), "z": z}


def promises_text(records: list[Record]) -> str:
    """Quantiles of promised over given, and the share within the tolerance."""
    ratios = np.array([value for one in records for value in one["ratios"].values()])
    low, middle, high = np.quantile(ratios, [0.05, 0.5, 0.95])
    share = np.mean(np.abs(ratios - 1.0) <= TOLERANCE)
    return (
        f"{len(ratios)} promises: promised over given {middle:.2f} in the median, {low:.2f} to {high:.2f} for nine of "
        f"ten, within {100 * TOLERANCE:.0f} % for {100 * share:.0f} %"
    )


def said_text(records: list[Record]) -> str:
    """How often something was said, with 95 % bounds."""
    said, days = sum(one["said"] for one in records), len(records)
    low, high = coverage_bounds(said, days)
    if "z" in records[0]:
        z = np.array([one["z"] for one in records])
        right = f"RMS(error/u) of the change {np.sqrt(np.nanmean(z**2)):.2f}"
    else:
        right = f"rightly placed {sum(one['right'] for one in records)}"
    return f"said on {said} of {days} days (95 % bounds {100 * low:.1f} to {100 * high:.1f} %), {right}"


def main() -> None:
    """Run one of the studies."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("promises", "brakes", "drift"))
    parser.add_argument("--days", type=int, default=54)
    parser.add_argument("--first-seed", type=int, default=2_610_101)
    parser.add_argument("--force", type=float, default=30.0)
    parser.add_argument("--change", type=float, default=0.15)
    parser.add_argument("--processes", type=int, default=1)
    asked = parser.parse_args()
    seeds = range(asked.first_seed, asked.first_seed + asked.days)
    with ProcessPoolExecutor(asked.processes) as pool:
        if asked.what == "promises":
            records = list(pool.map(promise, seeds))
        elif asked.what == "brakes":
            records = list(pool.map(brake, seeds, [asked.force] * asked.days))
        else:
            records = list(pool.map(drift, seeds, [asked.change] * asked.days))
    sys.stdout.write("".join(json.dumps(one) + "\n" for one in records))
    sys.stdout.write((promises_text if asked.what == "promises" else said_text)(records) + "\n")


if __name__ == "__main__":
    main()
