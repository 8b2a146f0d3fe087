"""Simulated axle loads, ride heights and held speeds against the moment balance and the springs written out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.aero.axle_loads import load_transfer
from server.aero.road_load import RoadLoadCar, Surroundings, resistance_forces
from server.aero.suspension import axle_load_from_dampers, axle_load_from_push_rods, heights_at_axles, series_rate
from server.analysis.load_priors import SPEED_LATE_S
from server.analysis.passes import find_passes
from server.analysis.result import BendTest, Estimate, Pass
from server.analysis.simulate import plan_like, simulate_day
from server.analysis.simulate_lengths import longest_trip
from server.analysis.simulate_loads import axle_loads, suspension_of
from server.analysis.simulate_motion import COAST, HOLD
from server.analysis.simulate_plan import InstrumentPlan, SimulationPlan, SteadyPlan, default_plan
from server.testday.values import Calibration, Quantity
from tests.analysis.test_simulate import STEADY_TYRES, ZERO, coasts, fitted_like, still_plan

CLEAN = InstrumentPlan(
    damper_rate_hz=100.0,
    damper_noise_m=0.0,
    damper_zero_u_m=0.0,
    ride_height_rate_hz=100.0,
    ride_height_noise_m=0.0,
    ride_height_zero_u_m=0.0,
    pushrod_rate_hz=100.0,
    pushrod_noise_n=0.0,
    pushrod_zero_u_n=0.0,
    suspension_lag_s=Quantity(1e-6),
)
SPRING_TABLE = 3e-4  # the spring curve's own slope beyond the springs, so that it can always be turned round
HELD = tuple(SteadyPlan(way, speed) for speed in (14.0, 22.0) for way in ("out", "back"))


def clean_plan(squat: float = 0.0, friction_n: float = 0.0, lift_m: float = 0.0, **changes) -> SimulationPlan:
    """Still air, sensors without error; one coast-down each way, then 14 and 22 m/s held each way."""
    plan = still_plan(instruments=CLEAN, tyres=replace(STEADY_TYRES, lift_m=Quantity(lift_m)), **changes)
    axles = [
        replace(axle, joint_friction_n=Quantity(friction_n), pushrod_ratio=Quantity(0.8))
        for axle in (plan.car.front, plan.car.rear)
    ]
    car = replace(plan.car, front=axles[0], rear=axles[1], anti_squat=Quantity(squat))
    return replace(plan, car=car, runs=tuple(replace(run, steady=HELD) for run in plan.runs))


def held(drive) -> list[tuple[float, np.ndarray]]:
    """(speed, samples) of every held speed, from 2 s after it was reached."""
    found = []
    for leg in np.unique(drive.leg):
        index = np.flatnonzero((drive.leg == leg) & (drive.phase == HOLD))
        if len(index):
            found.append((float(np.mean(drive.speed_mps[index[200:]])), index[200:]))
    return found


def at(signals, role: str, time_s: np.ndarray) -> np.ndarray:
    return np.interp(time_s, signals[role].time_s, signals[role].values)


def spring_loads(simulated, time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loads on the springs of both axles from the logged dampers."""
    signals, car = simulated.day.runs[0].recordings[0].signals, simulated.day.car
    found = [
        axle_load_from_dampers(
            at(signals, f"damper_{end}l", time_s),
            at(signals, f"damper_{end}r", time_s),
            axle.spring_rate_n_per_m.value,
            axle.motion_ratio.value,
        )
        for end, axle in (("f", car.front), ("r", car.rear))
    ]
    return found[0], found[1]


@pytest.mark.parametrize("grade", [0.0, 0.004, -0.003])
def test_at_constant_speed_the_axles_carry_the_downforce_and_coasting_moves_it_forward(grade):
    """The moment balance written out: front + rear = ½ρU² SCz whatever the car does, and what has moved from
    the rear axle to the front is exactly (m h + ΣJ/r) a/L + m g γ h/L."""
    simulated = simulate_day(clean_plan(grade=Quantity(grade)), seed=8)
    drive, car = simulated.truth.drives[1], simulated.day.car
    m, g, h, L = drive.mass_kg, 9.80665, car.cg_height_m.value, car.wheelbase_m.value
    spin = 0.42 / 0.2298 + 0.50 / 0.2298
    for i in [i for _, i in (*coasts(simulated), *held(drive))]:
        front, rear = spring_loads(simulated, drive.time_s[i])
        q = 0.5 * drive.density_kgm3 * drive.speed_mps[i] ** 2
        np.testing.assert_allclose(front + rear, q * (1.55 + 1.85), rtol=SPRING_TABLE, atol=0.01)
        a = np.gradient(drive.speed_mps, drive.time_s)[i]
        way = 1 if drive.position_m[i[-1]] > drive.position_m[i[0]] else -1
        moved = (m * h + spin) * a / L + m * g * way * grade * h / L
        np.testing.assert_allclose(q * 1.55 - front, moved, atol=0.3)
        np.testing.assert_allclose(rear - q * 1.85, moved, atol=0.3)
    for speed, i in held(drive):
        front, rear = spring_loads(simulated, drive.time_s[i])
        assert np.mean(front + rear) == pytest.approx(0.5 * drive.density_kgm3 * speed**2 * 3.4, rel=1e-3)


def test_dampers_rods_and_ride_heights_give_the_axle_loads_back():
    plan = clean_plan(grade=Quantity(0.004))
    front = replace(plan.car.front, ride_height_sensor_x_m=Quantity(-0.2))
    simulated = simulate_day(replace(plan, car=replace(plan.car, front=front)), seed=8)
    drive, car = simulated.truth.drives[1], simulated.day.car
    loads = axle_loads(drive, simulated.truth.car, plan.gravity_mps2)
    signals = simulated.day.runs[0].recordings[0].signals
    time_s = signals["ride_height_front"].time_s
    heights = heights_at_axles(signals["ride_height_front"].values, signals["ride_height_rear"].values, 1.54, -0.2, 0.0)
    dampers = spring_loads(simulated, time_s)
    rows = zip((car.front, car.rear), "fr", (0.034, 0.038), heights, dampers, loads, strict=True)
    for axle, end, static, height, by_damper, load in rows:
        expected = np.interp(time_s, drive.time_s, load)
        np.testing.assert_allclose(by_damper, expected, rtol=SPRING_TABLE, atol=0.01)
        rods = [signals[f"pushrod_load_{end}{side}"].values for side in "lr"]
        np.testing.assert_allclose(axle_load_from_push_rods(*rods, 0.8), expected, atol=1e-3)
        wheel = 2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value**2
        ride = series_rate(wheel, 2.0 * axle.tyre_rate_n_per_m.value)
        np.testing.assert_allclose((static - height) * ride, expected, rtol=SPRING_TABLE, atol=0.02)


@pytest.mark.parametrize("driven", ["rear", "front", "all"])
def test_drive_passes_the_springs_through_the_links(driven):
    """s h/L of the drive force comes off a driven rear axle's springs and onto a driven front axle's, at a held
    speed and in the start; coasting leaves them alone."""
    plan = clean_plan(squat=0.3)
    simulated = simulate_day(replace(plan, car=replace(plan.car, driven=driven)), seed=8)
    drive, car = simulated.truth.drives[1], simulated.day.car
    loads = axle_loads(drive, simulated.truth.car, plan.gravity_mps2)
    springs = spring_loads(simulated, drive.time_s)
    lever = 0.3 * car.cg_height_m.value / car.wheelbase_m.value
    shares = {"rear": (0.0, 1.0), "front": (1.0, 0.0), "all": (0.5, 0.5)}[driven]
    started = np.flatnonzero((drive.phase == 1) & (drive.speed_mps > 5.0) & (drive.speed_mps < 20.0))
    for i in (*(i for _, i in held(drive)), started):
        for side, share, load, spring in zip((1.0, -1.0), shares, loads, springs, strict=True):
            np.testing.assert_allclose(spring[i] - load[i], side * share * lever * drive.thrust_n[i], atol=0.5)
    assert np.mean(drive.thrust_n[started]) > 1000.0
    for _, i in coasts(simulated):
        np.testing.assert_allclose(springs[1][i], loads[1][i], rtol=SPRING_TABLE, atol=0.05)


def test_joint_friction_is_a_constant_in_a_coast_down():
    simulated = simulate_day(clean_plan(friction_n=7.5), seed=8)
    drive = simulated.truth.drives[1]
    rear = suspension_of(drive, simulated.truth.car, 9.80665)[1]
    for _, i in coasts(simulated):
        np.testing.assert_allclose(rear.spring_load_n[i] - rear.load_n[i], 15.0, atol=0.05)


def test_springs_answer_late_by_the_lag():
    plan = clean_plan()
    instruments = replace(CLEAN, suspension_lag_s=Quantity(0.08))
    simulated = simulate_day(replace(plan, instruments=instruments), seed=8)
    drive = simulated.truth.drives[1]
    front = suspension_of(drive, simulated.truth.car, 9.80665)[0]
    _, i = coasts(simulated)[0]
    # behind a ramp by its slope times the lag
    slope = np.gradient(front.load_n, drive.time_s)[i]
    np.testing.assert_allclose(front.spring_load_n[i] - front.load_n[i], -0.08 * slope, atol=0.5)


def test_ride_heights_of_the_truth_are_those_of_the_held_reference_speed():
    """Springs, tyres, their growth and the links: static less what the body has sunk at 22 m/s."""
    plan = clean_plan(squat=0.3, lift_m=0.0005)
    runs = (replace(plan.runs[0], steady=(SteadyPlan("out", 22.0, hold_s=25.0),)),)
    driver = replace(plan.driver, marks_m=(100.0, 1000.0))
    simulated = simulate_day(replace(plan, runs=runs, driver=driver), seed=8)
    signals, drive = simulated.day.runs[0].recordings[0].signals, simulated.truth.drives[1]
    i = held(drive)[-1][1][-1:]
    truth = simulated.truth.setups["A"]
    for end, static, area in (("front", 0.034, 1.55), ("rear", 0.038, 1.85)):
        height = float(np.mean(at(signals, f"ride_height_{end}", drive.time_s[i])))
        assert height == pytest.approx(truth[f"ride_height_{end}"], abs=2e-6)
        axle = getattr(plan.car, end)
        wheel = 2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value**2
        load = 0.5 * drive.density_kgm3 * 22.0**2 * area
        lift = 0.3 * 0.285 / 1.54 * float(np.mean(drive.thrust_n[i])) if end == "rear" else 0.0
        sunk = (load - lift) / wheel + load / (2.0 * 92_000.0) - 0.0005 * 1.1**2
        assert static - height == pytest.approx(sunk, abs=2e-6)


def bent_plan() -> SimulationPlan:
    plan = clean_plan(squat=0.2, friction_n=8.0)
    bent = replace(plan.setups[0], bend_front_per_m=Quantity(9.0), bend_rear_per_m=Quantity(-4.0))
    return replace(plan, setups=(bent,))


def test_bent_downforce_is_that_of_the_reference_condition_there_and_follows_the_sink_elsewhere():
    simulated = simulate_day(bent_plan(), seed=8)
    drive, car, areas = simulated.truth.drives[1], simulated.truth.car, simulated.truth.day.areas["A"]
    axles = suspension_of(drive, car, 9.80665)
    _, at_reference = held(drive)[-1]
    assert np.mean(drive.scz_front_m2[at_reference]) == pytest.approx(1.55, rel=3e-3)
    assert np.mean(drive.scz_rear_m2[at_reference]) == pytest.approx(1.85, rel=3e-3)
    for axle, scz, area, bend, sink in (
        (axles[0], drive.scz_front_m2, 1.55, 9.0, areas.sink_front_m),
        (axles[1], drive.scz_rear_m2, 1.85, -4.0, areas.sink_rear_m),
    ):
        for _, i in coasts(simulated):
            np.testing.assert_allclose(scz[i], area * (1.0 + bend * (axle.sink_m[i] - sink)), rtol=3e-4)
    _, i = coasts(simulated)[0]
    assert drive.scz_front_m2[i[0]] / drive.scz_front_m2[i[-1]] > 1.08
    assert simulated.truth.setups["A"]["bend_front"] == 9.0


def test_rolling_loss_feels_the_bent_downforce():
    """Energy lost over a coast-down is the work of the forces with SCz as it was (`server.aero.road_load`)."""
    plan = bent_plan()
    high_c0 = replace(plan.car, rolling_c0=Quantity(0.03))
    simulated = simulate_day(replace(plan, car=high_c0), seed=8)
    drive, car = simulated.truth.drives[1], simulated.truth.car
    m_e = drive.mass_kg + car.rotating_mass_kg

    def work(i: np.ndarray, scz: np.ndarray) -> float:
        road = RoadLoadCar(drive.mass_kg, m_e, 1.45, 0.03, scz, 0.00014, 6.0, 0.35)
        power = (
            resistance_forces(drive.speed_mps[i], road, Surroundings(drive.density_kgm3)).total_n * drive.speed_mps[i]
        )
        return float(np.trapezoid(power, drive.time_s[i]))

    for _, i in coasts(simulated):
        lost = 0.5 * m_e * (drive.speed_mps[i[0]] ** 2 - drive.speed_mps[i[-1]] ** 2)
        total = drive.scz_front_m2[i] + drive.scz_rear_m2[i]
        assert work(i, total) == pytest.approx(lost, rel=2e-5)
        assert abs(work(i, np.full(len(i), 3.4)) / lost - 1.0) > 2e-4


def test_held_speeds_are_held_each_way():
    plan = default_plan(pairs=1, compare=False)
    simulated = simulate_day(replace(plan, runs=tuple(replace(r, steady=HELD) for r in plan.runs)), seed=3)
    drive = simulated.truth.drives[1]
    found = held(drive)
    for (speed, i), wanted in zip(found, (14.0, 14.0, 22.0, 22.0), strict=True):
        assert speed == pytest.approx(wanted, abs=1.5)
        assert np.std(drive.speed_mps[i]) < 0.4
        assert np.max(np.abs(drive.speed_mps[i] - speed)) < 1.0
        assert np.all(drive.throttle[i] > 0.0)
    ways = [np.sign(np.ptp(drive.position_m[i]) * (drive.position_m[i[-1]] - drive.position_m[i[0]])) for _, i in found]
    assert ways == [1.0, -1.0, 1.0, -1.0]
    assert len(coasts(simulated)) == 2
    found = find_passes(simulated.day.runs[0], simulated.day.car, plan.venue.heading_rad)[0]
    assert sum(p.used and p.kind == "coast-down" for p in found) == 2  # no coasting from a held speed to the mark
    assert longest_trip(plan, replace(plan.runs[0], steady=HELD)) < plan.venue.length_m


def test_calibrations_err_as_they_say():
    plan = default_plan(pairs=1, compare=False)
    car = replace(plan.car, calibration={"damper_fl": Calibration(gain=1.0, unit="mm", gain_rel_u=0.02)})
    gains = [simulate_day(replace(plan, car=car), seed).truth.car.sensor_gain["damper_fl"] for seed in range(60)]
    assert np.std(gains) == pytest.approx(0.02, rel=4.0 / math.sqrt(2 * 60))
    assert simulate_day(plan, 1).truth.car.sensor_gain["damper_fl"] == 1.0


def test_a_sensors_zero_is_off_all_day_and_hardly_moves_between_runs():
    plan = default_plan(pairs=2, loads=True)
    simulated = simulate_day(plan, 4)
    for role, off, moves in (("damper_rl", 1e-3, 5e-5), ("ride_height_front", 2e-4, 1e-5)):
        zeros = []
        for run in simulated.day.runs:
            signal = run.recordings[0].signals[role]
            standing = (signal.time_s > 2.0) & (signal.time_s < 5.0)
            zeros.append(float(np.mean(signal.values[standing])))
        assert np.ptp(zeros) < 6.0 * moves + 2e-5  # what wind does to a standing car
        static = 0.034 if role.startswith("ride") else 0.0
        expected = off * simulated.truth.car.sensor_zero[role]
        read = simulated.truth.car.sensor_gain[role] * static  # the gain's error is in the standing height too
        assert np.mean(zeros) - read == pytest.approx(expected, abs=3.0 * moves + 2e-5)


def test_a_heave_spring_and_a_falling_motion_ratio_reach_the_dampers():
    table, heave = ((-0.03, 0.95), (0.03, 0.85)), ((-0.05, -1500.0), (0.05, 1500.0))
    plan = clean_plan()
    front = replace(plan.car.front, motion_ratio=None, motion_ratio_table=table, heave_table=heave)
    simulated = simulate_day(replace(plan, car=replace(plan.car, front=front)), seed=8)
    drive = simulated.truth.drives[1]
    axle = suspension_of(drive, simulated.truth.car, 9.80665)[0]
    z, signals = axle.wheel_travel_m, simulated.day.runs[0].recordings[0].signals
    # ∫ MR dz of a straight line, and the springs' virtual work with the weight that they carry
    ratio = 0.90 - z * 0.10 / 0.06
    damper = 0.90 * z - 0.5 * z**2 * 0.10 / 0.06
    carried = 0.9 * (236.0 + 72.0) * 9.80665 * 0.475
    force = 2.0 * 39_000.0 * damper * ratio + carried * (ratio / 0.90 - 1.0) + 30_000.0 * z
    np.testing.assert_allclose(force, axle.spring_load_n, atol=1.5)
    np.testing.assert_allclose(at(signals, "damper_fl", drive.time_s), damper, atol=1e-5)


def test_plan_like_a_day_repeats_its_loads_held_speeds_and_bend():
    plan = default_plan(pairs=2, compare=False, loads=True)
    instruments = replace(plan.instruments, pushrod_rate_hz=25.0)
    runs = tuple(replace(run, steady=HELD[2:]) for run in plan.runs)
    simulated = simulate_day(replace(plan, instruments=instruments, runs=runs), seed=21)
    result = fitted_like(simulated)
    setup, drive = result.setups[0], simulated.truth.drives[1]
    steady = tuple(
        Pass(1, "A", "constant-speed", way, float(drive.time_s[i[0]]), float(drive.time_s[i[-1]]), True,
             low_mps=speed - 0.1, high_mps=speed + 0.1)
        for way, (speed, i) in zip((1, -1), held(drive), strict=True)
    )  # fmt: skip
    measured = {f"SCz_{end}": Estimate(area, 0.03, area - 0.06, area + 0.06, "m²", "measured")
                for end, area in (("front", 1.61), ("rear", 1.91))}  # fmt: skip
    slope = {
        "front": Estimate(8.0, 1.0, 6.0, 10.0, "1/m", "measured"),
        "rear": Estimate(0.5, 1.0, -1.5, 2.5, "1/m", "measured"),
    }
    bent = replace(
        setup,
        estimates={**setup.estimates, **measured},
        passes=(*setup.passes, *steady),
        bend=BendTest(9.0, 0.01, 200, True, slope),
    )
    again = plan_like(simulated.day, replace(result, setups=(bent,)))
    assert (again.instruments.damper_rate_hz, again.instruments.ride_height_rate_hz) == (50.0, 50.0)
    assert again.instruments.pushrod_rate_hz == 25.0
    assert again.instruments.wheel_delay_s == SPEED_LATE_S  # as the fit of such a day takes it
    assert again.setups[0].scz_front_m2 == Quantity(1.61, 0.03, "measured")
    assert again.setups[0].bend_front_per_m == Quantity(8.0, 1.0, "measured")
    assert [(s.direction, round(s.speed_mps)) for s in again.runs[0].steady] == [
        (way, round(speed)) for way, (speed, _) in zip(("out", "back"), held(drive), strict=True)
    ]
    like = simulate_day(again, seed=5)
    assert {"damper_rl", "ride_height_front", "pushrod_load_fr"} <= like.day.runs[0].recordings[0].signals.keys()
    assert [round(speed) for speed, _ in held(like.truth.drives[1])] == pytest.approx([22, 22], abs=2)
    straight = replace(bent, bend=replace(bent.bend, bent=False))
    assert plan_like(simulated.day, replace(result, setups=(straight,))).setups[0].bend_front_per_m == ZERO


def test_a_run_of_held_speeds_alone_can_be_planned():
    plan = clean_plan()
    runs = (plan.runs[0], replace(plan.runs[0], number=2, start_clock_s=40_000.0, directions=(), steady=HELD[:1]))
    simulated = simulate_day(replace(plan, runs=runs), seed=8)
    assert not np.any(simulated.truth.drives[2].phase == COAST)
    assert np.any(simulated.truth.drives[2].phase == HOLD)
    with pytest.raises(ValueError, match="run 2 needs one direction"):
        replace(plan, runs=(runs[0], replace(runs[1], steady=())))
    with pytest.raises(ValueError, match="run 2 needs speed_mps"):
        replace(plan, runs=(runs[0], replace(runs[1], steady=(SteadyPlan("out", 0.0),))))


def test_transfer_in_the_truth_is_that_of_the_physics():
    simulated = simulate_day(clean_plan(), seed=8)
    drive, car = simulated.truth.drives[1], simulated.truth.car
    front, rear = axle_loads(drive, car, 9.80665)
    moved = load_transfer(
        drive.acceleration_mps2, drive.mass_kg, 0.285, 1.54,
        axle_inertia_kgm2=[0.42, 0.50], tyre_radius_m=[0.2298, 0.2298], grade=drive.grade,
    )  # fmt: skip
    q = 0.5 * drive.density_kgm3 * drive.air_speed_mps**2
    np.testing.assert_allclose(front, q * 1.55 - moved, rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(rear, q * 1.85 + moved, rtol=1e-9, atol=1e-6)
