"""The order of outings, the time they take and the room they need."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.analysis.asked_day import Pace
from server.analysis.run_order import (
    Outing,
    baseline_pairs,
    day_plan,
    day_seconds,
    outing_seconds,
    refills,
    room_left,
    run_order,
    stopping_distance,
)
from server.analysis.simulate_plan import default_plan


@given(pairs=st.integers(1, 12), changes=st.integers(1, 6))
def test_every_change_stands_between_baselines_and_nothing_is_lost(pairs: int, changes: int) -> None:
    names = [f"S{n}" for n in range(changes)]
    outings = run_order("A", names, pairs)
    assert [one.number for one in outings] == list(range(1, len(outings) + 1))
    assert [one.setup for one in outings[::2]] == ["A"] * (changes + 1)
    assert [one.setup for one in outings[1::2]] == names
    assert all(one.pairs == pairs for one in outings[1::2])
    assert sum(one.pairs for one in outings[::2]) == baseline_pairs(pairs, changes)
    counts = [one.pairs for one in outings[::2]]
    assert max(counts) - min(counts) <= 1


def test_the_baseline_is_driven_as_dunnett_says() -> None:
    # n0 = n √k, C. W. Dunnett 1955 (from memory): four changes, twice as often
    assert baseline_pairs(4, 4) == 8
    assert baseline_pairs(4, 1) == 4
    assert baseline_pairs(1, 3) == 4  # one a bracket at least


# Stopping sight distance on level roads: AASHTO Green Book, table 3-1 (t_r 2.5 s, a 3.4 m/s²; values from memory).
SIGHT_DISTANCES = [
    (50, 34.8, 28.4, 63.2),
    (80, 55.6, 72.6, 128.2),
    (100, 69.5, 113.5, 183.0),
    (120, 83.4, 163.4, 246.8),
]


@pytest.mark.parametrize(("kmh", "reaction_m", "braking_m", "total_m"), SIGHT_DISTANCES)
def test_stopping_distance_against_the_road_builders_table(
    kmh: float, reaction_m: float, braking_m: float, total_m: float
) -> None:
    speed = kmh / 3.6
    assert speed * 2.5 == pytest.approx(reaction_m, abs=0.1)
    assert stopping_distance(speed, 3.4, 0.0) == pytest.approx(braking_m, abs=0.2)
    assert stopping_distance(speed, 3.4, 2.5) == pytest.approx(total_m, abs=0.3)


def test_the_tank_is_filled_before_the_outing_that_the_rest_would_not_last_for() -> None:
    outings = [Outing(number, "A", pairs) for number, pairs in enumerate((3, 3, 2, 4, 1, 6), start=1)]
    assert refills(outings, 6) == (False, False, True, False, True, True)
    assert refills(outings, 100) == (False,) * 6
    with pytest.raises(ValueError, match="outing 6"):
        refills(outings, 5)


def test_a_day_takes_its_outings_and_what_lies_between() -> None:
    plan = day_plan(default_plan(), run_order("A", ["B"], 3))
    pace = Pace(between_s=600.0, change_s=900.0)
    driving = sum(outing_seconds(plan, run, pace) for run in plan.runs)
    assert day_seconds(plan, pace) == pytest.approx(driving + 2 * 600.0 + 2 * 900.0)
    starts = [run.start_clock_s for run in plan.runs]
    assert starts == sorted(starts)
    assert all(run.directions == ("out", "back") * (len(run.directions) // 2) for run in plan.runs)


def test_the_room_on_a_straight_shrinks_metre_by_metre_and_ends_below_zero() -> None:
    plan = day_plan(default_plan(), run_order("A", ["B"], 2))
    room = room_left(plan)
    shorter = replace(plan, venue=replace(plan.venue, length_m=(plan.venue.length_m or 0.0) - room - 1.0))
    assert room > 0.0
    assert room_left(shorter) == pytest.approx(-1.0)


def test_refusals_name_the_argument() -> None:
    with pytest.raises(ValueError, match="pairs, changes"):
        baseline_pairs(0, 1)
    with pytest.raises(ValueError, match="deceleration_mps2"):
        stopping_distance(10.0, 0.0)
