"""What the sensors write follows from the true motion, with the errors that were drawn and no others."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.car import draw_car
from tests.simulator.day import draw_day
from tests.simulator.motion import RATE_HZ
from tests.simulator.satellite import SatelliteLaw, satellite_speed
from tests.simulator.scenario import Scenario
from tests.simulator.suspension import axle_loads, through_friction
from tests.simulator.wheels import WheelSensor, tooth_times, wheel_speed

TIME = np.arange(0.0, 60.0, 1.0 / RATE_HZ)
SLOWING = np.concatenate([np.zeros(600), np.linspace(28.0, 8.0, TIME.size - 600)])
NO_SLIP = np.zeros_like(TIME)


def sensor(**changes: float) -> WheelSensor:
    values = {
        "teeth": 48, "once_per_turn": 0.0, "phase_rad": 0.0, "tooth_scatter": np.zeros(48), "rate_hz": 100.0,
        "gate_s": 0.0, "span": 1, "tick_s": 1e-9, "radius_m": 0.23, "growth": 0.0, "stated_radius_m": 0.23,
    }  # fmt: skip
    return WheelSensor(**(values | changes))  # type: ignore[arg-type]


def moving(signal_time: np.ndarray) -> np.ndarray:
    return (signal_time > 4.0) & (signal_time < 59.5)


def test_a_perfect_ring_gives_the_speed_back() -> None:
    signal = wheel_speed(sensor(), TIME, SLOWING, NO_SLIP, "wheel_speed_fl")
    true = np.interp(signal.time_s, TIME, SLOWING)
    keep = moving(signal.time_s)
    # the last whole tooth passed up to one and a half teeth ago
    np.testing.assert_allclose(signal.values[keep], true[keep], atol=0.01)
    assert np.all(signal.values[signal.time_s < 2.9] == 0.0)


def test_every_tooth_is_counted() -> None:
    edges = tooth_times(sensor(), TIME, SLOWING, NO_SLIP)
    travelled = np.trapezoid(SLOWING, TIME)
    assert edges.size == pytest.approx(travelled / (2.0 * np.pi * 0.23) * 48, abs=3)
    assert np.all(np.diff(edges) > 0.0)


def test_a_gate_quantises_by_one_tooth() -> None:
    signal = wheel_speed(sensor(gate_s=0.1, teeth=30), TIME, SLOWING, NO_SLIP, "wheel_speed_fl")
    step = 2.0 * np.pi * 0.23 / (30 * 0.1)
    levels = signal.values / step
    np.testing.assert_allclose(levels, np.round(levels), atol=1e-9)
    keep = moving(signal.time_s)
    error = signal.values[keep] - np.interp(signal.time_s[keep] - 0.05, TIME, SLOWING)
    assert np.max(np.abs(error)) <= step + 1e-6
    assert abs(error.mean()) < 0.02 * step


def test_an_eccentric_ring_errs_once_per_turn() -> None:
    steady = np.full_like(TIME, 20.0)
    signal = wheel_speed(sensor(once_per_turn=0.004), TIME, steady, NO_SLIP, "wheel_speed_fl")
    error = signal.values[moving(signal.time_s)] / 20.0 - 1.0
    assert np.max(np.abs(error)) == pytest.approx(0.004, rel=0.05)
    turns = 20.0 / (2.0 * np.pi * 0.23)
    spectrum = np.abs(np.fft.rfft(error * np.hanning(error.size)))
    assert np.fft.rfftfreq(error.size, 0.01)[spectrum.argmax()] == pytest.approx(turns, abs=0.05)


def test_a_grown_tyre_turns_slower() -> None:
    signal = wheel_speed(sensor(growth=0.005 / 28.0**2, radius_m=0.232), TIME, SLOWING, NO_SLIP, "x")
    fast = np.searchsorted(signal.time_s, 3.5)
    true = np.interp(signal.time_s[fast], TIME, SLOWING)
    scale = 0.23 / 0.232 / (1.0 + 0.005 * (true / 28.0) ** 2)
    assert signal.values[fast] / true == pytest.approx(scale, abs=5e-4)


def law(**changes: float) -> SatelliteLaw:
    values = {
        "rate_hz": 10.0, "sigma_mps": 0.05, "colour_s": 1.0, "white_mps": 0.01, "delay_s": 0.2,
        "dropouts_per_minute": 0.0, "position_sigma_m": 1.0,
    }  # fmt: skip
    return SatelliteLaw(**(values | changes))


def test_satellite_speed_lags_by_its_delay_and_its_noise_is_coloured() -> None:
    rng = np.random.default_rng(2)
    errors = []
    for _ in range(60):
        when = np.arange(4.0, 59.0, 0.1)
        signal = satellite_speed(law(), rng, when, TIME, SLOWING)
        errors.append(signal.values - np.interp(when - 0.2, TIME, SLOWING))
    error = np.array(errors)
    assert error.std() == pytest.approx(np.hypot(0.05, 0.01), rel=0.05)
    lag_1s = np.mean(error[:, :-10] * error[:, 10:]) / np.mean(error**2)
    assert lag_1s == pytest.approx(np.exp(-1.0) * 0.05**2 / (0.05**2 + 0.01**2), abs=0.06)
    assert abs(error.mean()) < 0.005


def test_positions_follow_the_heading() -> None:
    hostile = draw_day(8, Scenario(pairs=1))
    signals, run = hostile.day.runs[0].recordings[0].signals, hostile.runs[0]
    heading = hostile.day.venue.heading_rad
    north = (signals["latitude"].values - signals["latitude"].values[0]) * 6_371_008.8
    east = np.unwrap(signals["longitude"].values - signals["longitude"].values[0])
    east *= 6_371_008.8 * np.cos(signals["latitude"].values[0])
    along = north * np.cos(heading) + east * np.sin(heading)
    when = signals["latitude"].time_s - hostile.truth["satellite_delay"]
    true = np.interp(when, run.time_s, run.along_m)
    np.testing.assert_allclose(along, true - true[0], atol=10.0)
    # the way back lies to the right of the way out
    right = east * np.cos(heading) - north * np.sin(heading)
    assert np.median(right[when > run.legs[1].begins_s]) == pytest.approx(10.0, abs=5.0)


def test_dropouts_leave_gaps_and_nothing_else() -> None:
    days = [draw_day(seed, Scenario(pairs=2)) for seed in range(12)]
    gaps = []
    for hostile in days:
        for run in hostile.day.runs:
            step = np.diff(run.recordings[0].signals["gps_speed"].time_s)
            gaps.append(step[step > 1.5 * np.median(step)])
            assert np.all(step > 0.0)
    lengths = np.concatenate(gaps)
    assert lengths.size >= 3
    assert np.all((lengths > 0.35) & (lengths < 6.5))


def test_axle_loads_by_hand() -> None:
    """F_front = ½ρU²SCz_f − [m(a+gγ)h + (ΣJ/r)a]/L, worked in numbers for one braking-free instant."""
    car = draw_car(np.random.default_rng(4), Scenario(dampers=True))
    a, slope = np.array([-2.0]), np.array([0.003])
    front, rear = axle_loads(
        car, 300.0, accel=a, grade_ahead=slope,
        front_downforce=np.array([500.0]), rear_downforce=np.array([600.0]),
    )  # fmt: skip
    spin = car.front.inertia.true / car.front.radius.true + car.rear.inertia.true / car.rear.radius.true
    moment = 300.0 * (-2.0 + 9.80665 * 0.003) * car.cg_height.true + spin * -2.0
    assert front[0] == pytest.approx(500.0 - moment / car.wheelbase.true)
    assert front[0] > 500.0
    assert front[0] + rear[0] == pytest.approx(1100.0)


def test_friction_holds_within_its_band_and_lags_by_it() -> None:
    load = np.concatenate([np.linspace(0.0, 100.0, 200), np.linspace(100.0, 0.0, 200)])
    sprung = through_friction(load, 15.0)
    assert sprung[199] == pytest.approx(85.0)
    assert sprung[-1] == pytest.approx(15.0)
    assert np.all(np.abs(sprung - load) <= 15.0 + 1e-12)
