"""A day that is asked for: its plan, its straight, its outings on the clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from server.analysis.asked_day import MOST_PAIRS, DayRequest, Wanted
from server.analysis.day_fit import fit_day
from server.analysis.day_request import gust_costs, outings_of, request_plan, straight_check, timed, wind_costs
from server.analysis.pass_planning import PassPlanning, PlannedDifference, pairs_for, pass_variances
from server.analysis.run_order import Outing, day_plan, split_outings
from server.analysis.simulate import simulate_day
from server.analysis.simulate_lengths import coast_down_times
from server.analysis.simulate_plan import default_plan
from server.analysis.study import fit_simulated_day
from server.errors import StillairError
from server.testday.values import Quantity

ASKED = DayRequest("Flap day", "A", (Wanted("B", 0.05), Wanted("C", 0.06)))


def planning(pairs: int = 5, floor: float = 0.01) -> PassPlanning:
    told = tuple(
        PlannedDifference(name, wanted, pairs, 0.05, floor, pairs * (wanted**2 - floor**2) * 0.999, 0.05)
        for name, wanted in (("B", 0.05), ("C", 0.06))
    )
    return PassPlanning(pairs, 8, True, told, 12)


def test_a_day_can_be_made_from_what_was_asked() -> None:
    plan = request_plan(replace(ASKED, wanted=(Wanted("B", 0.05),)))
    day = day_plan(plan, (Outing(1, "A", 1), Outing(2, "B", 1)))
    assert {t.setup for t in fit_simulated_day(day, 5).trials} == {"A", "B"}


def test_a_day_like_an_earlier_one_takes_its_car_wind_and_setups() -> None:
    day = simulate_day(default_plan(pairs=2), 8).day
    result = fit_day(day)
    plan = request_plan(ASKED, (day, result))
    told = {one.name: one for one in result.setups}
    areas = {one.setup.name: one.scx_m2.value for one in plan.setups}
    assert plan.car == day.car
    assert areas["B"] == told["B"].estimates["SCx"].value
    assert areas["C"] == areas["A"]  # nothing is known of it yet
    assert [one.setup.baseline for one in plan.setups] == [None, "A", "A"]


def test_a_straight_that_is_too_short_is_refused_with_by_how_much() -> None:
    check = straight_check(request_plan(ASKED), ASKED.length_m)
    used = check.accelerate_m + check.coast_m + check.brake_m + check.stop_m + check.margin_m
    assert check.left_m == pytest.approx(ASKED.length_m - used)
    with pytest.raises(StillairError, match=r"The straight of 300 m is \d+ m too short"):
        request_plan(replace(ASKED, length_m=300.0))


def test_a_straight_that_is_too_short_is_told_the_speed_that_it_has_room_for() -> None:
    with pytest.raises(StillairError, match=r"lift at \d+ km/h or below") as refusal:
        request_plan(replace(ASKED, length_m=450.0))
    fits = float(str(refusal.value).partition("lift at ")[2].split()[0]) / 3.6
    assert straight_check(request_plan(replace(ASKED, length_m=450.0, high_mps=fits)), 450.0).left_m >= 0.0
    with pytest.raises(StillairError, match="too short"):
        request_plan(replace(ASKED, length_m=450.0, high_mps=fits + 0.6))
    with pytest.raises(StillairError, match="lift lower"):
        request_plan(replace(ASKED, length_m=60.0))


def test_filling_the_tank_stands_on_the_clock() -> None:
    plan, outings = request_plan(ASKED), (Outing(1, "A", 4), Outing(2, "B", 4), Outing(3, "A", 2))
    plain = replace(ASKED, outing_pairs=6)
    slow = replace(plain, pace=replace(ASKED.pace, refill_s=1800.0))
    starts = [[at for at, _ in timed(plan, one, outings)] for one in (plain, slow)]
    assert [b - a for a, b in zip(*starts, strict=True)] == [0.0, 1800.0, 1800.0]


@pytest.mark.parametrize(("wanted", "words"), [((), "at least one change"), ((Wanted("A", 0.1),), "the same name")])
def test_what_makes_no_plan_is_said(wanted: tuple[Wanted, ...], words: str) -> None:
    with pytest.raises(StillairError, match=words):
        request_plan(replace(ASKED, wanted=wanted))


def test_outings_stand_on_the_clock_one_after_the_other() -> None:
    asked, plan = replace(ASKED, outing_pairs=3), request_plan(ASKED)
    outings = outings_of(asked, planning())
    assert max(one.pairs for one in outings) <= 3
    assert sum(one.pairs for one in outings if one.setup == "B") == 5
    clock = timed(plan, asked, outings)
    assert clock[0][0] == asked.start_clock_s
    for i in range(1, len(clock)):
        gap = clock[i][0] - sum(clock[i - 1])
        changed = outings[i].setup != outings[i - 1].setup
        assert gap == pytest.approx(asked.pace.between_s + (asked.pace.change_s if changed else 0.0))


def test_an_outing_is_split_evenly() -> None:
    found = split_outings((Outing(1, "A", 7), Outing(2, "B", 2)), 3)
    assert found == (Outing(1, "A", 3), Outing(2, "A", 2), Outing(3, "A", 2), Outing(4, "B", 2))
    with pytest.raises(ValueError, match="most_pairs"):
        split_outings((), 0)


def test_more_gusts_take_more_pairs() -> None:
    costs = gust_costs(request_plan(ASKED), planning())
    assert [gust for gust, _ in costs] == pytest.approx([0.2, 0.4, 0.6, 0.8])
    pairs = [n for _, n in costs if n is not None]
    assert pairs == sorted(pairs)
    assert pairs[0] < pairs[1] == 5
    assert costs[-1][1] is None


def test_a_mean_wind_takes_road_and_passes() -> None:
    """In closed form: U = v ± W gives more to gusts against the wind, and less area to tell with it."""
    costs = wind_costs(request_plan(ASKED), planning(), ASKED.length_m)
    assert [along for along, _, _ in costs] == [0.0, 2.0, 4.0, 6.0]
    left = [metres for _, _, metres in costs]
    assert left == sorted(left, reverse=True)
    assert left[0] == straight_check(request_plan(ASKED), ASKED.length_m).left_m
    pairs = [MOST_PAIRS + 1 if n is None else n for _, n, _ in costs]
    assert pairs == sorted(pairs)
    assert pairs[0] == 5


def test_the_forecast_goes_into_the_days_that_are_simulated() -> None:
    plan = request_plan(replace(ASKED, along_mps=3.0, cross_mps=2.0))
    assert (plan.wind.head_out_mps, plan.wind.cross_mps) == (Quantity(3.0, 1.0), Quantity(2.0, 1.0))
    blown, still = straight_check(plan, ASKED.length_m), straight_check(request_plan(ASKED), ASKED.length_m)
    assert blown.coast_m > 1.1 * still.coast_m
    assert blown.accelerate_m < still.accelerate_m
    assert blown.left_m < still.left_m


@pytest.mark.parametrize("along", [0.0, 3.0])
def test_the_closed_form_is_what_gusts_do_to_the_lost_energy(along: float) -> None:
    """Held to sums over drawn gusts along the coast-down's own speeds; 2,000 of them."""
    plan = request_plan(replace(ASKED, along_mps=along))
    wind = replace(plan.wind, gust_time_s=Quantity(0.2))
    plan, rng, found = replace(plan, wind=wind), np.random.default_rng(3), []
    for head in (along, -along):
        speed, step = coast_down_times(plan, plan.runs[0], head_mps=head)
        at, ends = np.arange(0.0, step.sum(), 0.02), np.cumsum(step[::-1])
        v = np.interp(at, ends, speed[::-1])
        noise = lfilter([1.0], [1.0, -np.exp(-0.1)], rng.standard_normal((2000, 200 + at.size)), axis=1)
        gust = wind.gust_sd_mps.value * np.sqrt(1.0 - np.exp(-0.2)) * noise[:, 200:]
        air = v + head
        found.append(np.var(2.0 * (gust * air * v).sum(axis=1) / (air**2 * v).sum()))
    expected, _ = pass_variances(plan, 1.0)
    assert np.mean(found) == pytest.approx(expected, rel=0.1)


def test_pairs_that_are_never_enough() -> None:
    assert pairs_for(0.05, 0.05**2, 1e-3) is None
    assert pairs_for(0.05, 0.0, 0.05**2 * 4) == 4
    assert pairs_for(0.05, 0.0, 0.05**2 * 13) is None
