"""Days with load sensors, fitted whole: what is told agrees with the truth and with itself."""

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.result import DayResult
from tests.simulator import HostileDay, Scenario, draw_day

SCENARIO = Scenario(
    pairs=2,
    wind="calm",
    dampers=True,
    load_sources=("damper", "ride height"),
    constant_speeds_mps=(18.0,),
    downforce_m2=(2.5, 3.5),
)


@pytest.fixture(scope="module")
def hostile() -> HostileDay:
    return draw_day(31, SCENARIO)


@pytest.fixture(scope="module")
def result(hostile: HostileDay) -> DayResult:
    return fit_day(hostile.day)


def test_areas_and_ride_heights_lie_around_their_truth(hostile: HostileDay, result: DayResult) -> None:
    truth, estimates = hostile.truth["setups"]["A"], result.setups[0].estimates
    for name in ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD", "weight_speed"):
        assert estimates[name].source == "measured"
        assert abs(estimates[name].value - truth[name]) < 4.0 * estimates[name].u, name
    for name in ("ride_height_front", "ride_height_rear"):
        assert abs(estimates[name].value - truth[name]) < 4.0 * estimates[name].u, name
    assert estimates["SCz_front"].u < 0.04 * estimates["SCz_front"].value


def test_both_kinds_of_pass_and_both_sources_are_used(result: DayResult) -> None:
    assert result.load_sources == ("damper", "ride height")
    kinds = {fit.of.kind for fit in result.setups[0].fits}
    assert kinds == {"coast-down", "constant-speed"}
    for fit in result.setups[0].fits:
        assert {(load.axle, load.source) for load in fit.loads} == {
            (axle, source) for axle in ("front", "rear") for source in ("damper", "ride height")
        }
        for load in fit.loads:
            assert np.all(load.pressure_pa > 0.0)
            left = load.load_n - load.fitted_n  # friction and noise
            assert np.std(left) < 60.0
            assert np.std(left - load.friction_n) <= 1.02 * np.std(left)


def test_sources_agree_on_a_healthy_day(result: DayResult) -> None:
    assert {check.axle for check in result.source_checks} == {"front", "rear"}
    assert all(abs(check.z) < 3.5 for check in result.source_checks)
    assert "sources-disagree" not in {finding.code for finding in result.findings}


def test_loads_at_speed_follow_from_the_areas(hostile: HostileDay, result: DayResult) -> None:
    setup, density = result.setups[0], result.reference["density_kgm3"]
    reference = next(at for at in setup.at_speeds if at.speed_mps == 22.0)
    expected = 0.5 * density * 22.0**2 * setup.estimates["SCz"].value
    assert reference.downforce_n.value == pytest.approx(expected, rel=2e-3)
    mass = hostile.day.car.mass_kg.value + hostile.day.runs[0].driver_mass_kg.value
    both = 2.0 * (reference.wheel_load_front_n.value + reference.wheel_load_rear_n.value)
    assert both == pytest.approx(mass * 9.80665 + expected, rel=2e-3)
    speeds = [at.speed_mps for at in setup.at_speeds]
    assert speeds == sorted(speeds)
    heights = [at.ride_height_front_m.value for at in setup.at_speeds]
    assert np.all(np.diff(heights) < 0.0)
    assert setup.estimates["ride_height_front"].value == pytest.approx(reference.ride_height_front_m.value, abs=1e-4)
    assert result.reference["front_ride_height_m"] == pytest.approx(setup.estimates["ride_height_front"].value)


def test_heights_are_told_only_where_the_car_was(hostile: HostileDay, result: DayResult) -> None:
    visited = result.setups[0].visited
    assert {each.axle for each in visited} == {"front", "rear"}
    for axle in ("front", "rear"):
        sinks = [load.sink_m for fit in result.setups[0].fits for load in fit.loads if load.axle == axle]
        lowest, highest = min(s.min() for s in sinks), max(s.max() for s in sinks)
        for each in (v for v in visited if v.axle == axle):
            assert lowest - 1e-9 <= each.sink.value <= highest + 1e-9
            assert each.seconds > 0.0
            area = result.setups[0].estimates[f"SCz_{axle}"]
            assert abs(each.scz.value - hostile.truth["setups"]["A"][f"SCz_{axle}"]) < 3.0 * each.scz.u
            assert each.scz.u >= area.u  # a band is known no better than the whole


def test_every_quantity_has_a_budget_that_adds_up(result: DayResult) -> None:
    setup = result.setups[0]
    for name in ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD"):
        lines = [line for line in setup.budget if line.quantity == name]
        assert lines, name
        total = np.sqrt(sum(line.contribution**2 for line in lines))
        assert total == pytest.approx(setup.estimates[name].u, rel=1e-6)
    largest = max((line for line in setup.budget if line.quantity == "SCz_front"), key=lambda line: line.contribution)
    assert largest.input


def test_a_typed_downforce_does_not_pull_a_measured_one(hostile: HostileDay, result: DayResult) -> None:
    setups = tuple(replace(s, scz_front_m2=replace(s.scz_front_m2, value=9.0, u=0.01)) for s in hostile.day.setups)
    moved = fit_day(replace(hostile.day, setups=setups)).setups[0].estimates["SCz_front"]
    assert moved.value == pytest.approx(result.setups[0].estimates["SCz_front"].value, rel=1e-9)


def test_one_dead_damper_leaves_half_an_axle_and_a_wider_u() -> None:
    day = draw_day(31, replace(SCENARIO, load_sources=("damper",), faults=("dead damper",))).day
    dead = fit_day(day)
    assert "damper-dead" in {finding.code for finding in dead.findings}
    whole = fit_day(draw_day(31, replace(SCENARIO, load_sources=("damper",))).day)
    ends = ("SCz_front", "SCz_rear")
    ratio = [dead.setups[0].estimates[e].u / whole.setups[0].estimates[e].u for e in ends]
    assert max(ratio) > 1.2
    for e in ends:
        off = dead.setups[0].estimates[e].value - whole.setups[0].estimates[e].value
        assert abs(off) < 4.0 * dead.setups[0].estimates[e].u


def test_a_bend_is_found_and_quoted_at_the_reference_condition() -> None:
    scenario = Scenario(
        pairs=4, wind="calm", dampers=True, load_sources=("damper",), bend_over_range=0.12, downforce_m2=(3.0, 4.0)
    )
    hostile = draw_day(33, scenario)
    setup = fit_day(hostile.day).setups[0]
    assert setup.bend is not None
    assert setup.bend.bent
    assert setup.bend.p < 0.05
    assert setup.bend.slope["front"].low95 > 0.0
    for name in ("SCz_front", "SCz_rear"):
        truth = hostile.truth["setups"]["A"][name]
        assert abs(setup.estimates[name].value - truth) < 4.0 * setup.estimates[name].u


def test_a_day_without_load_sensors_says_nothing_of_loads() -> None:
    result = fit_day(draw_day(31, Scenario(pairs=1)).day)
    setup = result.setups[0]
    assert (result.load_sources, result.source_checks, setup.at_speeds, setup.visited) == ((), (), (), ())
    assert setup.bend is None
    assert all(fit.loads == () for fit in setup.fits)


def test_a_ratio_that_nobody_gave_leaves_the_loads_wide() -> None:
    hostile = draw_day(31, replace(SCENARIO, load_sources=("damper",), constant_speeds_mps=()))
    car = hostile.day.car
    bare = replace(car, front=replace(car.front, motion_ratio=None), rear=replace(car.rear, motion_ratio=None))
    result = fit_day(replace(hostile.day, car=bare))
    assert sum("motion_ratio is not given" in finding.text for finding in result.findings) == 2
    truth, estimates = hostile.truth["setups"]["A"], result.setups[0].estimates
    for name in ("SCz_front", "SCz_rear"):
        assert estimates[name].u > 0.2 * estimates[name].value
        assert abs(estimates[name].value - truth[name]) < 2.5 * estimates[name].u


def test_speeds_that_come_late_do_to_downforce_what_the_budget_says(hostile: HostileDay, result: DayResult) -> None:
    """The day with its speeds 0.08 s late against its loads, as a counter's gate of 0.16 s makes them."""
    runs = []
    for run in hostile.day.runs:
        recording = run.recordings[0]
        signals = {
            role: replace(s, time_s=s.time_s + 0.08) if "speed" in role else s for role, s in recording.signals.items()
        }
        runs.append(replace(run, recordings=(replace(recording, signals=signals),)))
    late = fit_day(replace(hostile.day, runs=tuple(runs)))
    before, after = (r.setups[0].estimates["SCz"] for r in (result, late))
    lines = [line for line in result.setups[0].budget if line.quantity == "SCz"]
    line = next(line for line in lines if line.input == "wheel speed later than the loads")
    assert line.contribution / before.u > 0.1
    assert after.value - before.value == pytest.approx(-0.08 * line.sensitivity, rel=0.5)
    assert after.value < before.value
