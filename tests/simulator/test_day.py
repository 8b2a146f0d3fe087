"""Whole days: what is stated is consistent with what is true, signs and clocks are as documented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.testday.values import Quantity
from tests.simulator.air import moist_density_kgm3
from tests.simulator.car import DEFAULTS, draw_car, draw_setups
from tests.simulator.day import HostileDay, draw_day
from tests.simulator.scenario import Scenario, draw_scenario
from tests.simulator.schedule import visits
from tests.simulator.stated import Known


def cars(scenario: Scenario, n: int = 600) -> list[dict[str, Known]]:
    drawn = []
    for seed in range(n):
        car = draw_car(np.random.default_rng(seed), scenario)
        setup = draw_setups(np.random.default_rng([seed, 1]), scenario)[0]
        r = car.resistance
        named = {"mass": car.mass, "cg_height": car.cg_height, "radius": car.front.radius}
        named |= {"c0": r.c0, "c1": r.c1, "T0": r.T0, "T1": r.T1}
        named |= {"front_inertia": car.front.inertia, "rear_inertia": car.rear.inertia}
        drawn.append(named | {"SCz_front": setup.scz_front, "SCz_rear": setup.scz_rear})
    return drawn


@pytest.mark.parametrize("fixed", [False, True])
def test_truth_lies_about_the_stated_value_by_its_u(fixed: bool) -> None:
    drawn = cars(Scenario(fixed_truth=fixed))
    for name in drawn[0]:
        z = np.array([d[name].z for d in drawn])
        assert abs(z.mean()) < 4.0 / np.sqrt(z.size), name
        assert np.std(z) == pytest.approx(1.0, abs=0.12), name


def test_fixed_truth_is_the_same_on_every_day() -> None:
    first, second = (draw_day(seed, Scenario(fixed_truth=True, pairs=1)) for seed in (1, 2))
    assert first.truth["setups"]["A"]["SCx"] == second.truth["setups"]["A"]["SCx"] == 1.45
    assert first.truth["c1"] == second.truth["c1"]
    assert first.day.car.rolling_c0.value != second.day.car.rolling_c0.value


def test_nothing_given_states_the_defaults_and_draws_physical_truths_from_them() -> None:
    drawn = cars(Scenario(priors="none"))
    assert drawn[0]["c0"].stated == Quantity(*DEFAULTS["c0"], "default")
    assert drawn[0]["SCz_rear"].stated == Quantity(1.5, 1.0, "default")
    for name in ("c0", "c1", "T0", "T1", "SCz_front", "front_inertia"):
        true = np.array([d[name].true for d in drawn])
        stated = drawn[0][name].stated
        assert true.min() >= 0.0
        # the cut at zero narrows and lifts what is drawn, by 0.25 u where it lies at 1.25 u
        assert true.std() == pytest.approx(stated.u, rel=0.2)
        assert -0.1 < (true.mean() - stated.value) / stated.u < 0.35


def test_a_corner_day_has_a_linear_resistance_beyond_one_u() -> None:
    for priors in ("given", "none"):
        scenario = Scenario(linear_corner=True, priors=priors)  # type: ignore[arg-type]
        z = [draw_car(np.random.default_rng(k), scenario).resistance.linear_z(300.0) for k in range(60)]
        assert min(abs(v) for v in z) > 1.0
        assert min(z) < 0.0 < max(z)


def test_the_same_seed_gives_the_same_day() -> None:
    first, second = (draw_day(5, Scenario(pairs=1)) for _ in range(2))
    other = draw_day(6, Scenario(pairs=1))
    for role, signal in first.day.runs[0].recordings[0].signals.items():
        again = second.day.runs[0].recordings[0].signals[role]
        np.testing.assert_array_equal(signal.values, again.values)
    assert first.truth == second.truth
    assert first.truth["mass"] != other.truth["mass"]


def test_the_order_is_baseline_change_baseline() -> None:
    assert visits(Scenario(setups=1, pairs=4)) == [("A", 4)]
    assert visits(Scenario(setups=2, pairs=4)) == [("A", 2), ("B", 4), ("A", 2)]
    assert [name for name, _ in visits(Scenario(setups=3, pairs=8))] == ["A", "B", "A", "C", "A"]
    clocks = [run.start_clock_s for run in draw_day(3, Scenario(setups=2)).day.runs]
    assert clocks == sorted(clocks)


@pytest.mark.parametrize("sensors", ["both", "satellite", "wheel"])
def test_each_recording_has_the_channels_of_its_scenario(sensors: str) -> None:
    hostile = draw_day(2, Scenario(pairs=1, sensors=sensors))  # type: ignore[arg-type]
    roles = set(hostile.day.runs[0].recordings[0].signals)
    assert ("gps_speed" in roles) == (sensors != "wheel")
    assert ("wheel_speed_fl" in roles) == (sensors != "satellite")
    assert {"throttle", "brake_pressure"} <= roles
    assert ("heading" in roles) == (sensors == "wheel")


def test_each_pass_can_be_told_out_from_back() -> None:
    for seed in range(40):
        scenario = draw_scenario(seed)
        run = draw_day(seed, replace(scenario, pairs=1, setups=1)).day.runs[0]
        roles = set(run.recordings[0].signals)
        assert run.direction is not None or roles & {"heading", "latitude"}, seed


def test_a_run_starts_and_ends_at_rest() -> None:
    hostile = draw_day(9, Scenario(passes_per_run=4))
    for run in hostile.day.runs:
        speed = run.recordings[0].signals["gps_speed"]
        for end in (speed.time_s < 3.0, speed.time_s > speed.time_s[-1] - 2.5):
            assert np.all(speed.values[end] < 0.5)
        assert speed.values.max() > 26.0


def wind_days() -> list[HostileDay]:
    return [draw_day(seed, Scenario(pairs=1, wind="gusty")) for seed in range(40)]


def test_the_anemometer_and_the_true_head_wind_agree() -> None:
    """speed·cos(wind_from − heading) is the head wind on a car going out."""
    errors = []
    for hostile in wind_days():
        heading, told = hostile.day.venue.heading_rad, []
        for reading in hostile.day.weather[:2]:
            assert reading.wind_speed_mps is not None
            assert reading.wind_from_rad is not None
            told.append(reading.wind_speed_mps.value * np.cos(reading.wind_from_rad.value - heading))
        errors.append(np.mean(told) - hostile.truth["setups"]["A"]["head_wind_out"])
    assert abs(np.mean(errors)) < 0.35
    assert np.std(errors) < 0.9


def test_a_head_wind_out_shortens_the_way_out() -> None:
    difference, wind = [], []
    for hostile in wind_days():
        out, back = (leg.coasting.sum() for leg in hostile.runs[0].legs)
        difference.append((back - out) / (back + out))
        wind.append(hostile.truth["setups"]["A"]["head_wind_out_air"])
    assert np.corrcoef(difference, wind)[0, 1] > 0.7


def test_density_agrees_with_a_reference_library() -> None:
    """CoolProp's real-gas humid air (ASHRAE RP-1485); ideal gas with a constant Z lies within 4e-4."""
    humid_air = pytest.importorskip("CoolProp.HumidAirProp")
    for celsius, pressure, humidity in ((20, 101325, 0.5), (15, 95e3, 0.3), (30, 1e5, 0.8), (8, 1.02e5, 0.6)):
        volume = humid_air.HAPropsSI("Vha", "T", celsius + 273.15, "P", pressure, "R", humidity)
        reference = 1.0 / volume
        assert moist_density_kgm3(pressure, celsius + 273.15, humidity) == pytest.approx(reference, rel=4e-4)


def test_dampers_sink_by_the_axle_load_over_the_wheel_rate() -> None:
    """At speed each axle's mean damper travel is MR·F/K, less at most the friction band, from its rest."""
    scenario = Scenario(dampers=True, pairs=1, wind="calm", fixed_truth=True)
    hostile = draw_day(3, scenario)
    run, signals = hostile.runs[0], hostile.day.runs[0].recordings[0].signals
    axle = hostile.day.car.front
    when = signals["damper_fl"].time_s
    mean = 0.5 * (signals["damper_fl"].values + signals["damper_fr"].values)
    leg = run.legs[0]
    rest = when < leg.inputs.hold_before - 0.5
    quick = (when > leg.time_s[leg.coasting][0] + 1.0) & (when < leg.time_s[leg.coasting][0] + 3.0)
    travelled = mean[quick].mean() - mean[rest].mean()
    v = np.interp(when[quick], run.time_s, run.speed)
    a = np.interp(when[quick], run.time_s, run.accel)
    truth = hostile.truth["setups"]["A"]
    # wind is calm: U = v within a few per cent
    load = np.mean(0.5 * leg.inputs.density * v**2 * truth["SCz_front"])
    load -= np.mean(a) * (leg.inputs.mass * leg.inputs.cg_height + leg.inputs.spin) / leg.inputs.wheelbase
    assert axle.motion_ratio is not None
    assert axle.spring_rate_n_per_m is not None
    expected = load / (2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value)
    friction = 45.0 / (2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value)
    assert travelled == pytest.approx(expected, abs=2.0 * friction + 0.15 * expected)
    assert travelled > 0.004
    sunk = signals["ride_height_front"].values
    assert sunk[rest].mean() - sunk[quick].mean() > travelled / axle.motion_ratio.value


def test_impossible_scenarios_are_refused() -> None:
    for changes in (
        {"pairs": 0},
        {"setups": 4},
        {"speeds_mps": (8.0, 28.0)},
        {"fixed_truth": True, "priors": "none"},
    ):
        with pytest.raises(ValueError, match=r"pairs|setups|speeds_mps|fixed_truth"):
            Scenario(**changes)  # type: ignore[arg-type]
