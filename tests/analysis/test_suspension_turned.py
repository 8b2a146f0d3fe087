"""Motion ratios upside down: what speaks for it, what speaks against it, and what no day can tell."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.analysis.suspension_gains import LINKS_REL_U, Gain
from server.analysis.suspension_ratio import RatioCheck
from server.analysis.suspension_sensors import CarLoads, car_loads, sensor_of
from server.analysis.suspension_turned import Movement, turned_findings
from server.testday.values import AxleLoading, Finding, LogFile, Quantity
from tests.analysis.suspension_days import UNPROVED, all_checked, hostile

RATIO = 1.15  # as entered; turned over, dampers move 1.32 times what the entries ask for


@pytest.fixture(scope="module")
def loads() -> CarLoads:
    car = hostile(2_812_301, pairs=1).day.car
    ratio = Quantity(RATIO, 0.01)
    axles = {end: replace(getattr(car, end), motion_ratio=ratio, motion_ratio_table=()) for end in ("front", "rear")}
    return car_loads(replace(car, **axles), 72.0)


def gains(stem: str = "damper_fl", value: float = 1.0, u: float = 0.1, *, clean: bool = True) -> dict[str, Gain]:
    """What one sensor tells; the links' share is in the u of one that is not clean."""
    sensor = sensor_of(stem)
    assert sensor is not None
    whole = u if clean else (u**2 + (LINKS_REL_U * value) ** 2) ** 0.5
    return {stem: Gain(sensor, value, whole, 0.05, clean, value, 1)}


def check(measured: float, u: float, entered: float = 1.20, inverted: float = 1.45) -> RatioCheck:
    return RatioCheck("front", Quantity(measured, u), Quantity(entered, 0.02), Quantity(inverted, 0.02))


def said(findings: list[Finding]) -> list[str]:
    return [finding.code for finding in findings]


@pytest.mark.parametrize(
    ("moved", "told"),
    [
        (1.32, ["motion-ratio-doubtful"]),
        (1.16, [UNPROVED]),  # half-way
        (1.00, []),  # as the entries ask for
    ],
)
def test_launches_of_an_axle_that_is_not_driven(loads: CarLoads, moved: float, told: list[str]) -> None:
    assert said(turned_findings([], gains(value=moved), loads, ())) == told


def test_an_axle_that_speaks_against_it_counts(loads: CarLoads) -> None:
    front = gains(value=1.32)
    rear = gains("damper_rl", value=1.0)
    assert said(turned_findings([], front, loads, ())) == ["motion-ratio-doubtful"]
    assert said(turned_findings([], front | rear, loads, ())) == [UNPROVED]


def test_ride_heights_alone_tell_too(loads: CarLoads) -> None:
    """The springs' rate follows from the ratio, and with it the body's movement: by MR⁴, less the tyres."""
    [finding] = turned_findings([], gains("ride_height_front", 1.6), loads, ())
    assert finding.code == "motion-ratio-doubtful"
    assert "front ride height moves 1.60 times" in finding.text
    assert "0.87" in finding.text


def test_where_neither_way_fits_the_entries_are_still_doubted(loads: CarLoads) -> None:
    assert said(turned_findings([check(1.75, 0.05)], {}, loads, ())) == ["motion-ratio-doubtful"]
    assert said(turned_findings([check(1.25, 0.05)], {}, loads, ())) == []


def test_a_ratio_near_one_is_as_good_upside_down(loads: CarLoads) -> None:
    near = replace(loads.car.front, motion_ratio=Quantity(1.03, 0.01))
    assert turned_findings([], gains(value=1.06, u=0.01), replace(loads, car=replace(loads.car, front=near)), ()) == []


def test_what_fits_badly_either_way_is_not_taken_for_it(loads: CarLoads) -> None:
    """χ² of 11.8 as entered, 8.7 turned over: something else may be wrong, and the day cannot tell."""
    assert said(turned_findings([check(1.55, 0.1, inverted=1.25)], {}, loads, ())) == [UNPROVED]


def test_links_of_a_driven_axle_take_movement_and_hardly_add_any() -> None:
    driven, free = Movement(0.7, 0.08, linked=True), Movement(0.7, 0.08, linked=False)
    assert driven.misfit(1.0) < 0.5
    assert free.misfit(1.0) > 10.0
    assert Movement(1.3, 0.08, linked=True).misfit(1.0) > 5.0


def test_a_known_mass_on_the_axle_settles_it(loads: CarLoads) -> None:
    open_ = gains(value=1.16)
    [finding] = turned_findings([], open_, loads, ("rear",))
    assert finding.grade == "note"
    assert "front motion ratio 1.15" in finding.text
    assert "0.76 times the front downforce" in finding.text
    assert turned_findings([], open_, loads, ("front",)) == []


def test_a_day_that_cannot_tell_says_so_until_its_axles_are_loaded() -> None:
    day = hostile(2_812_102, pairs=2).day
    out, findings = all_checked(day)
    assert out == {}
    loading = AxleLoading("front", Quantity(40.0, 0.1), LogFile("stand.csv"), (1.0, 5.0), (10.0, 15.0))
    loaded = replace(day, axle_loadings=(loading, replace(loading, axle="rear")))
    assert said(findings) == [UNPROVED]
    assert said(all_checked(loaded)[1]) == []
