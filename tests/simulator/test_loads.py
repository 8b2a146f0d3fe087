"""Axle loads and their sensors against statics worked by hand; joints, tyres, gusts, held speeds, bends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.testday.values import Signal
from tests.simulator.car import CarDraw, draw_car
from tests.simulator.car_loads import with_load_properties
from tests.simulator.day import HostileDay, draw_day
from tests.simulator.drive import TrueLeg
from tests.simulator.load_scenario import draw_load_scenario
from tests.simulator.load_sensors import LoadSensorLaw, draw_load_sensor_law, load_signals, logged_motion
from tests.simulator.motion import COLUMNS, CRUISE, RATE_HZ, drive_leg
from tests.simulator.road import LENGTH_M, STEP_M
from tests.simulator.scenario import Scenario
from tests.simulator.suspension import JointLaw, SuspensionLaw, axle_motions, through_friction

FLAT = np.zeros(int(LENGTH_M / STEP_M) + 1)
TIME = np.arange(0.0, 40.0, 1.0 / RATE_HZ)
RISING = np.clip((TIME - 5.0) / 10.0, 0.0, 1.0)  # still for 5 s, rising for 10 s, then steady
EVERY = Scenario(dampers=True, load_sources=("damper", "ride height", "push rod"))
CLEAN = LoadSensorLaw(np.ones(4), np.ones(4), np.zeros(4), np.zeros(4), 0.0, 0.0, 0.0)
LOADS = (400.0, 500.0)


def car(growth: float = 0.0) -> CarDraw:
    bare = draw_car(np.random.default_rng(4), EVERY)
    return with_load_properties(np.random.default_rng(5), bare, EVERY, growth)


def law(**changes: float | tuple[float, float]) -> SuspensionLaw:
    values = {
        "friction_n": (0.0, 0.0), "lag_s": 0.05, "zero_m": np.zeros(6), "drift_m": 0.0, "noise_m": 0.0,
        "step_m": 1e-13, "road_m": 0.0, "height_noise_m": 0.0,
    }  # fmt: skip
    return SuspensionLaw(**(values | changes))  # type: ignore[arg-type]


def end_of(
    of: CarDraw, rules: SuspensionLaw, *, drive_n: float = 0.0, speed: float = 0.0, scenario: Scenario = EVERY
) -> dict[str, float]:
    """What each sensor has gone from the first second to the last, after LOADS came on slowly."""
    motions = axle_motions(
        of, rules, JointLaw((0.0, 0.0), 0.4, (0.0, 0.0)), np.random.default_rng(0), step_s=1.0 / RATE_HZ,
        loads=(LOADS[0] * RISING, LOADS[1] * RISING), drive_n=drive_n * RISING, shake=np.zeros_like(TIME),
    )  # fmt: skip
    logged = logged_motion(
        of, np.random.default_rng(1), time_s=TIME, speed_mps=speed * RISING, motions=motions,
        static_heights_m=(0.034, 0.038),
    )  # fmt: skip
    still = replace(logged, roll=(0.0 * logged.roll[0], 0.0 * logged.roll[1]))
    signals = load_signals(of, rules, CLEAN, np.random.default_rng(2), still, scenario=scenario)
    return {role: float(s.values[-100:].mean() - s.values[:100].mean()) for role, s in signals.items()}


def test_each_sensor_goes_by_its_axle_load() -> None:
    """Dampers MR·F/(2kMR²), rods F/2 over their ratio, heights by springs and tyres in series."""
    of = car()
    went = end_of(of, law())
    for load, axle, corners in ((LOADS[0], of.front, ("fl", "fr")), (LOADS[1], of.rear, ("rl", "rr"))):
        k, ratio = axle.spring_rate.true, axle.motion_ratio.true
        assert axle.pushrod_ratio is not None
        for corner in corners:
            assert went[f"damper_{corner}"] == pytest.approx(load / (2.0 * k * ratio), rel=1e-6)
            assert went[f"pushrod_load_{corner}"] == pytest.approx(load / 2.0 / axle.pushrod_ratio.true)
    series = [1.0 / (1.0 / (2.0 * a.spring_rate.true * a.motion_ratio.true**2) + 1.0 / (2.0 * a.tyre_rate.true))
              for a in (of.front, of.rear)]  # fmt: skip
    sunk = LOADS[0] / series[0], LOADS[1] / series[1]
    # the front sensor sits ahead of its axle by x: the lever rule carries x/L of the pitch
    front, rear = (-s for s in sunk)
    pitch = (front - rear) / of.wheelbase.true
    assert went["ride_height_front"] == pytest.approx(front + pitch * of.front.sensor_x.true, rel=1e-6)
    assert went["ride_height_rear"] == pytest.approx(rear + pitch * of.rear.sensor_x.true, rel=1e-6)


def test_drive_takes_load_off_the_rear_springs_but_not_off_its_tyres() -> None:
    of = car()
    coasting, driven = end_of(of, law()), end_of(of, law(), drive_n=600.0)
    taken = of.anti_squat.true * 600.0 * of.cg_height.true / of.wheelbase.true
    assert taken > 5.0
    assert driven["damper_fl"] == coasting["damper_fl"]
    less = taken / (2.0 * of.rear.spring_rate.true * of.rear.motion_ratio.true)
    assert coasting["damper_rl"] - driven["damper_rl"] == pytest.approx(less, rel=1e-6)
    pitched = 1.0 - of.rear.sensor_x.true / of.wheelbase.true
    lifted = taken / of.rear.wheel_rate_n_per_m * pitched
    assert driven["ride_height_rear"] - coasting["ride_height_rear"] == pytest.approx(lifted, rel=1e-6)


def test_a_growing_tyre_lifts_the_car_and_leaves_the_dampers_alone() -> None:
    grown = car(growth=0.005 / 28.0**2)
    slow, fast = end_of(grown, law()), end_of(grown, law(), speed=28.0)
    assert fast["damper_fl"] == slow["damper_fl"]
    for end, axle in (("front", grown.front), ("rear", grown.rear)):
        lift = fast[f"ride_height_{end}"] - slow[f"ride_height_{end}"]
        # 0.3 to 1 of the rolling radius' half per cent, and a little by the lever
        assert 0.25 < lift / (0.005 * axle.radius.true) < 1.1


def test_four_height_sensors_are_those_of_two_axles() -> None:
    of = car()
    four = end_of(of, law(), scenario=replace(EVERY, height_sensors=4))
    two = end_of(of, law())
    for axle, (left, right) in (("front", ("fl", "fr")), ("rear", ("rl", "rr"))):
        assert four[f"ride_height_{left}"] == pytest.approx(two[f"ride_height_{axle}"])
        assert four[f"ride_height_{right}"] == pytest.approx(two[f"ride_height_{axle}"])


def test_joints_hold_back_their_friction_the_rod_less_of_it() -> None:
    of = car()
    free, held = end_of(of, law()), end_of(of, law(friction_n=(40.0, 40.0)))
    for corner, axle in (("fl", of.front), ("rl", of.rear)):
        assert axle.pushrod_ratio is not None
        short = (free[f"damper_{corner}"] - held[f"damper_{corner}"]) * 2.0 * axle.spring_rate.true
        assert short * axle.motion_ratio.true == pytest.approx(40.0, rel=1e-6)
        before = free[f"pushrod_load_{corner}"] - held[f"pushrod_load_{corner}"]
        assert before * 2.0 * axle.pushrod_ratio.true == pytest.approx(0.4 * 40.0, rel=1e-6)


def test_plays_in_series_are_one_play() -> None:
    load = 100.0 * np.sin(np.linspace(0.0, 20.0, 4000))
    parted = through_friction(through_friction(load, 12.0), 18.0)
    np.testing.assert_allclose(parted, through_friction(load, 30.0), atol=1e-9)
    assert through_friction(load, 30.0, 0.5)[0] == pytest.approx(15.0)


def test_a_shaking_road_works_the_joints_loose() -> None:
    """A falling load is held back by its friction; shaken by twice that, by less than a third of it."""
    of, falling = car(), 500.0 * (1.0 - RISING)
    left = []
    for shake in (0.0, 80.0):
        motions = axle_motions(
            of, law(friction_n=(40.0, 40.0)), JointLaw((shake, shake), 0.5, (0.0, 0.0)), np.random.default_rng(3),
            step_s=1.0 / RATE_HZ, loads=(falling, falling), drive_n=np.zeros_like(TIME),
            shake=np.ones_like(TIME),
        )  # fmt: skip
        sprung = motions[0].travel_m * of.front.wheel_rate_n_per_m
        left.append(float(np.mean((sprung - falling)[1400:2900])))
    assert left[0] == pytest.approx(40.0 + 50.0 * 0.05, rel=0.02)  # and the lag at 50 N/s
    assert abs(left[1]) < 40.0 / 3.0


def held_days() -> HostileDay:
    return draw_day(
        3, Scenario(dampers=True, pairs=1, wind="calm", constant_speeds_mps=(14.0, 24.0), fixed_truth=True)
    )


def test_held_speeds_are_driven_each_way_and_stay_steady() -> None:
    hostile = held_days()
    legs = [leg for run in hostile.runs for leg in run.legs if leg.inputs.cruise > 0.0]
    assert sorted((leg.inputs.cruise, leg.inputs.direction) for leg in legs) == [
        (14.0, -1.0), (14.0, 1.0), (24.0, -1.0), (24.0, 1.0),
    ]  # fmt: skip
    for leg in legs:
        held = leg.column("v")[leg.holding]
        assert held.size > 4.0 * RATE_HZ
        assert held.mean() == pytest.approx(leg.inputs.cruise, abs=1.0)
        assert np.std(held) < 0.25
        assert np.all(leg.column("drive")[leg.holding] > 0.0)
        assert not leg.coasting.any()


def test_at_a_held_speed_an_axle_carries_its_downforce() -> None:
    """What dampers tell between two held speeds is ½ρ(U₂²−U₁²)SCz within friction and the rear's anti-squat."""
    hostile = held_days()
    truth, day = hostile.truth, hostile.day
    rows = []
    for run, logged in zip(hostile.runs, day.runs, strict=True):
        signals = logged.recordings[0].signals
        for leg in run.legs:
            if leg.inputs.cruise > 0.0:
                rows.append(_mean_load(leg, signals, hostile))
    rows = np.array(rows)
    pressure, front, rear = rows.T
    slope_front, slope_rear = np.polyfit(pressure, front, 1)[0], np.polyfit(pressure, rear, 1)[0]
    band = 2.0 * max(truth["friction"]) / np.ptp(pressure)
    areas = truth["setups"]["A"]
    assert slope_front == pytest.approx(areas["SCz_front"], abs=band + 0.05)
    # drag over pressure is SCx: the links take s·SCx·h/L of the rear's area off the springs
    squat = truth["anti_squat"] * areas["SCx"] * truth["cg_height"] / day.car.wheelbase_m.value
    assert slope_rear == pytest.approx(areas["SCz_rear"] - squat, abs=band + 0.05)


def _mean_load(leg: TrueLeg, signals: dict[str, Signal], hostile: HostileDay) -> tuple[float, float, float]:
    """Mean ½ρU² of a held speed and both axles' loads by their dampers, less their standing before the leg."""
    held, car_ = leg.time_s[leg.holding], hostile.day.car
    v, head, cross = (leg.column(c)[leg.holding] for c in ("v", "head", "cross"))
    loads = []
    for pair, axle in ((("fl", "fr"), car_.front), (("rl", "rr"), car_.rear)):
        when = signals[f"damper_{pair[0]}"].time_s
        mean = 0.5 * sum(signals[f"damper_{c}"].values for c in pair)
        rest = (when > leg.begins_s + 0.5) & (when < leg.begins_s + leg.inputs.hold_before - 0.3)
        steady = (when > held[0]) & (when < held[-1])
        assert axle.motion_ratio is not None
        assert axle.spring_rate_n_per_m is not None
        rate = 2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value
        loads.append(rate * float(mean[steady].mean() - mean[rest].mean()))
    return float(np.mean(0.5 * leg.inputs.density * ((v + head) ** 2 + cross**2))), loads[0], loads[1]


def test_the_rear_axle_meets_a_gust_a_wheelbase_later() -> None:
    hostile = draw_day(6, Scenario(pairs=1, wind="gusty", fixed_truth=True))
    leg, run = hostile.runs[0].legs[0], hostile.runs[0]
    begin = round(leg.begins_s * RATE_HZ)
    coast = begin + np.flatnonzero(leg.coasting)[400:-400]
    areas = hostile.truth["setups"]["A"]
    front, rear = run.downforce_front_n / areas["SCz_front"], run.downforce_rear_n / areas["SCz_rear"]
    speed = leg.inputs.wheelbase / np.mean(run.speed[coast])
    lags = np.arange(-20, 60)
    apart = [front[coast] - rear[coast + lag] for lag in lags]
    miss = [np.std(a) for a in apart]
    assert lags[int(np.argmin(miss))] / RATE_HZ == pytest.approx(speed, rel=0.5)


@pytest.mark.parametrize("asked", [0.10, -0.12])
def test_a_bend_over_the_range_is_what_was_asked(asked: float) -> None:
    """Downforce area of the fastest over that of the slowest steady speed, integrated without any transfer."""
    hostile = draw_day(11, Scenario(dampers=True, pairs=1, bend_over_range=asked, fixed_truth=True))
    for column, name in (("scz_f", "SCz_front"), ("scz_r", "SCz_rear")):
        ends = [_still_air(hostile, v, coasting=True)[column] for v in (28.0, 8.0)]
        assert (ends[0] - ends[1]) / hostile.truth["setups"]["A"][name] == pytest.approx(asked, abs=0.002)


def _still_air(hostile: HostileDay, speed: float, coasting: bool = False) -> dict[str, float]:
    """The car of a day at a steady speed in still air on the level: columns of the last row of a long hold."""
    given = hostile.runs[0].legs[0].inputs
    winds = ("slow_head", "slow_head_slope", "slow_cross", "gust_sigma", "cross_sigma", "c0_warm")
    calm = dict.fromkeys(winds, 0.0)
    rho = hostile.truth["reference_density"]
    leg = given._replace(
        **calm, direction=1.0, density=rho, c0=hostile.truth["c0"], start=0.0, lift_speed=speed - 0.3, cruise=speed,
        cruise_s=12.0, hunt=(0.0, 1.0, 0.0),
        **({"rear_squat": 0.0, "cg_height": 0.0, "spin": 0.0} if coasting else {}),
    )  # fmt: skip
    q, total = 0.5 * rho * speed**2, leg.scz_front + leg.scz_rear
    push = (leg.c0 + leg.c1 * speed) * (leg.mass * 9.80665 + q * total) + leg.T0 + leg.T1 * speed + q * leg.scx
    rows = drive_leg(leg._replace(cruise_push=push), FLAT, np.zeros((20_000, 4)), np.zeros(4), 90.0)
    last = rows[rows[:, COLUMNS.index("phase")] == CRUISE][-1]
    return dict(zip(COLUMNS, map(float, last), strict=True))


@pytest.mark.parametrize("bend", [0.0, 0.12])
def test_truth_is_that_of_the_reference_condition(bend: float) -> None:
    """Areas and ride heights as the car has them when it holds 22 m/s in still air on the level."""
    hostile = draw_day(17, Scenario(dampers=True, pairs=1, bend_over_range=bend))
    truth, setup, car_ = hostile.truth, hostile.truth["setups"]["A"], hostile.day.car
    now = _still_air(hostile, 22.0)
    assert now["v"] == pytest.approx(22.0, abs=0.02)
    assert now["scz_f"] == pytest.approx(setup["SCz_front"], rel=2e-3)
    assert now["scz_r"] == pytest.approx(setup["SCz_rear"], rel=2e-3)
    q = 0.5 * truth["reference_density"] * 22.0**2
    squat = truth["anti_squat"] * now["drive"] * truth["cg_height"] / hostile.runs[0].legs[0].inputs.wheelbase
    for end, standing, links in (("front", 0.034, 0.0), ("rear", 0.038, squat)):
        load = q * setup[f"SCz_{end}"]
        sunk = (load - links) / truth[f"{end}_wheel_rate"] + load / (2.0 * truth[f"{end}_tyre_rate"])
        height = standing - sunk + truth[f"{end}_tyre_lift"] * 22.0**2
        assert setup[f"ride_height_{end}"] == pytest.approx(height, abs=2e-5)
    assert 0.5 * truth["reference_density"] * setup["weight_speed"] ** 2 * setup["SCz"] == pytest.approx(
        truth["mass"] * 9.80665
    )
    assert truth["bent"] == (bend != 0.0)
    assert car_.anti_squat.u > 0.0


def test_load_sensors_leave_the_rest_of_the_day_alone() -> None:
    """Bit for bit the same speeds, with whichever sources: so that days can be fitted with and without."""
    bare = draw_day(12, Scenario(pairs=1)).day.runs[0].recordings[0].signals
    loaded = draw_day(12, Scenario(pairs=1, dampers=True)).day.runs[0].recordings[0].signals
    rods = draw_day(12, replace(EVERY, pairs=1)).day.runs[0].recordings[0].signals
    assert set(loaded) - set(bare) == {
        "damper_fl", "damper_fr", "damper_rl", "damper_rr", "ride_height_front", "ride_height_rear",
    }  # fmt: skip
    assert {"pushrod_load_fl", "pushrod_load_rr"} <= set(rods)
    for more, fewer in ((loaded, bare), (rods, loaded)):
        for role, signal in fewer.items():
            np.testing.assert_array_equal(signal.values, more[role].values, err_msg=role)


def test_the_same_seed_gives_the_same_loads() -> None:
    first, second = (draw_day(4, draw_load_scenario(4)) for _ in range(2))
    for run, again in zip(first.day.runs, second.day.runs, strict=True):
        for role, signal in run.recordings[0].signals.items():
            np.testing.assert_array_equal(signal.values, again.recordings[0].signals[role].values)
    assert first.truth == second.truth


@pytest.mark.parametrize("priors", ["given", "none"])
def test_what_loads_need_is_true_about_what_is_stated(priors: str) -> None:
    scenario = replace(EVERY, priors=priors)  # type: ignore[arg-type]
    z: dict[str, list[float]] = {}
    for seed in range(400):
        bare = draw_car(np.random.default_rng(seed), scenario)
        of = with_load_properties(np.random.default_rng([seed, 1]), bare, scenario, 0.0)
        named = {"anti-squat": of.anti_squat, "tyre": of.front.tyre_rate, "place": of.rear.sensor_x}
        assert of.rear.pushrod_ratio is not None
        for name, known in (named | {"rod": of.rear.pushrod_ratio}).items():
            z.setdefault(name, []).append(known.z)
    for name, values in z.items():
        assert np.mean(values) == pytest.approx(0.0, abs=0.2), name
        assert np.std(values) == pytest.approx(1.0, abs=0.12), name


def test_wheel_rate_and_damper_gain_together_make_the_stated_one_per_cent() -> None:
    """A damper's load is the stated rate times its reading: off by the true rate over the two gains."""
    errors = []
    for seed in range(600):
        bare = draw_car(np.random.default_rng(seed), EVERY)
        spring = with_load_properties(np.random.default_rng([seed, 1]), bare, EVERY, 0.0).front.spring_rate
        gains = draw_load_sensor_law(np.random.default_rng([seed, 2])).damper_gain
        errors.append(spring.true / spring.stated.value / gains[:2].mean() - 1.0)
    assert np.std(errors) == pytest.approx(0.01, rel=0.12)
    assert draw_day(1, Scenario(dampers=True, pairs=1)).day.car.front.wheel_rate_rel_u == 0.01


def test_the_mixture_of_load_days_is_as_described() -> None:
    days = [draw_load_scenario(seed) for seed in range(1500)]
    assert all(d.dampers and d.load_sources for d in days)
    share = {s: np.mean([d.load_sources == s for d in days]) for s in (("damper",), ("ride height",), ("push rod",))}
    assert share[("damper",)] == pytest.approx(0.45, abs=0.04)
    assert share[("ride height",)] == pytest.approx(0.15, abs=0.03)
    assert share[("push rod",)] == pytest.approx(0.10, abs=0.03)
    assert np.mean([len(d.load_sources) == 2 for d in days]) == pytest.approx(0.30, abs=0.04)
    assert np.mean([bool(d.constant_speeds_mps) for d in days]) == pytest.approx(0.25, abs=0.04)
    bends = np.array([d.bend_over_range for d in days if d.bent])
    assert bends.size / len(days) == pytest.approx(0.30, abs=0.04)
    assert bends.min() < -0.13
    assert bends.max() > 0.13


def test_impossible_load_scenarios_are_refused() -> None:
    for changes in (
        {"load_sources": ("strain",)},
        {"faults": ("rust",), "dampers": True},
        {"faults": ("friction",)},
        {"faults": ("volts",), "dampers": True, "load_sources": ("ride height",)},
        {"height_sensors": 3},
        {"constant_speeds_mps": (40.0,)},
        {"downforce_m2": (3.0, 2.0)},
    ):
        with pytest.raises(ValueError, match=r"load_sources|faults|height_sensors|constant_speeds|downforce"):
            Scenario(**changes)  # type: ignore[arg-type]
