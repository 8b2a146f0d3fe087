"""What the car's logger and the satellite box write: a run's recordings in SI units."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.testday.values import Recording, Signal
from tests.simulator.car import STATIC_HEIGHTS_M, CarDraw
from tests.simulator.drive import DayDraw, TrueRun
from tests.simulator.faults import FaultDraw, draw_faults, faulty, with_friction
from tests.simulator.load_sensors import (
    LoadSensorLaw,
    draw_load_sensor_law,
    load_roles,
    load_signals,
    logged_motion,
)
from tests.simulator.motion import BRAKE, CRUISE, DRIVE
from tests.simulator.motion import RATE_HZ as MOTION_RATE_HZ
from tests.simulator.satellite import (
    SatelliteLaw,
    draw_satellite_law,
    sample_clock,
    satellite_position,
    satellite_speed,
)
from tests.simulator.scenario import Scenario
from tests.simulator.suspension import (
    JointLaw,
    SuspensionLaw,
    axle_loads,
    axle_motions,
    draw_joint_law,
    draw_suspension_law,
)
from tests.simulator.wheels import WheelSensor, draw_wheel_sensors, wheel_speed

FloatArray = NDArray[np.float64]
DRIVER_RATE_HZ = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class LoadInstruments:
    """Joints, load sensors and what is wrong with them."""

    joints: JointLaw
    sensors: LoadSensorLaw
    faults: FaultDraw


@dataclass(frozen=True, slots=True, eq=False)
class Instruments:
    """The sensors that are on the car; wheels: undriven front wheels, left then right; growth: of the rolling
    radius over v² [1/(m/s)²]."""

    wheels: tuple[WheelSensor, ...]
    satellite: SatelliteLaw
    suspension: SuspensionLaw
    growth: float
    loads: LoadInstruments | None = None


def draw_instruments(rng: np.random.Generator, car: CarDraw, scenario: Scenario) -> Instruments:
    both = bool(rng.random() < 0.7)
    radius = car.front.radius
    wheels = draw_wheel_sensors(rng, radius.true, radius.stated.value, both)
    satellite, suspension = draw_satellite_law(rng), draw_suspension_law(rng)
    logged = wheels if scenario.sensors != "satellite" else ()
    return Instruments(logged, satellite, suspension, wheels[0].growth)


def with_load_instruments(
    rng: np.random.Generator, instruments: Instruments, scenario: Scenario, runs: int
) -> Instruments:
    """The same instruments and those of the axle loads. runs: how many the day has."""
    law = instruments.suspension
    if "friction" in scenario.faults:
        law = with_friction(law)
    roles = load_roles(scenario)
    loads = LoadInstruments(
        draw_joint_law(rng, law.friction_n), draw_load_sensor_law(rng), draw_faults(rng, scenario, roles, runs)
    )
    return replace(instruments, suspension=law, loads=loads)


def record(
    run: TrueRun,
    draw: DayDraw,
    instruments: Instruments,
    rng: np.random.Generator,
    load_rng: np.random.Generator,
) -> tuple[Recording, ...]:
    """One recording, or two where the satellite box has its own clock."""
    scenario = draw.scenario
    car_signals = _car_signals(run, draw, instruments, rng)
    if instruments.loads is not None:
        car_signals |= _load_signals(run, draw, instruments.suspension, instruments.loads, load_rng)
    box: dict[str, Signal] = {}
    if scenario.sensors != "wheel":
        box = _satellite_signals(run, draw, instruments.satellite, rng)
    number = run.plan.number
    if not (scenario.satellite_box and box and car_signals):
        return (_recording(f"logs/run{number:02d}.csv", car_signals | box, run),)
    offset = float(rng.uniform(-0.3, 0.3))
    shifted = {role: Signal(s.time_s + offset, s.values, s.name) for role, s in box.items()}
    return (
        _recording(f"logs/run{number:02d}.csv", car_signals, run),
        _recording(f"logs/box{number:02d}.csv", shifted, run),
    )


def _recording(file: str, signals: dict[str, Signal], run: TrueRun) -> Recording:
    return Recording(file, signals, run.plan.start_clock_s, "simulated recording")


def _car_signals(
    run: TrueRun, draw: DayDraw, instruments: Instruments, rng: np.random.Generator
) -> dict[str, Signal]:
    scenario = draw.scenario
    signals: dict[str, Signal] = {}
    slip = np.where(run.phase == BRAKE, float(rng.uniform(0.02, 0.08)), 0.0)
    for sensor, role in zip(instruments.wheels, ("wheel_speed_fl", "wheel_speed_fr"), strict=False):
        signals[role] = wheel_speed(sensor, run.time_s, run.speed, slip, role)
    if scenario.driver_channels:
        signals |= _driver_signals(run, rng)
    if scenario.heading_channel or scenario.needs_heading:
        when = np.arange(0.0, run.time_s[-1], 0.1)
        heading = np.interp(when, run.time_s, run.heading_rad) + 0.02 * rng.standard_normal(when.size)
        signals["heading"] = Signal(when, heading % (2.0 * np.pi), "heading")
    return signals


def _load_signals(
    run: TrueRun,
    draw: DayDraw,
    law: SuspensionLaw,
    instruments: LoadInstruments,
    rng: np.random.Generator,
) -> dict[str, Signal]:
    car = draw.car
    loads = axle_loads(
        car,
        draw.mass_kg,
        accel=run.accel,
        grade_ahead=run.grade_ahead,
        front_downforce=run.downforce_front_n,
        rear_downforce=run.downforce_rear_n,
    )
    motions = axle_motions(
        car,
        law,
        instruments.joints,
        rng,
        step_s=1.0 / MOTION_RATE_HZ,
        loads=loads,
        drive_n=run.drive_n,
        shake=np.minimum(run.speed / 10.0, 1.0),
    )
    logged = logged_motion(
        car, rng, time_s=run.time_s, speed_mps=run.speed, motions=motions, static_heights_m=STATIC_HEIGHTS_M
    )
    signals = load_signals(car, law, instruments.sensors, rng, logged, scenario=draw.scenario)
    return faulty(signals, instruments.faults, run.plan.number - 1, rng)


def _driver_signals(run: TrueRun, rng: np.random.Generator) -> dict[str, Signal]:
    """throttle [0–1] with an offset, brake_pressure [Pa] with noise."""
    when = np.arange(0.0, run.time_s[-1], 1.0 / DRIVER_RATE_HZ)
    k = np.minimum(np.searchsorted(run.time_s, when), run.time_s.size - 1)
    effort = np.minimum(1.6 * run.drive_n[k] / float(run.drive_n.max()), 1.0)
    pushing = effort * ((run.phase[k] == DRIVE) | (run.phase[k] == CRUISE))
    throttle = float(rng.uniform(0.0, 0.02)) + 0.97 * pushing + 0.002 * rng.standard_normal(when.size)
    pressure = 1200.0 * run.brake_n[k] + 8e3 * rng.standard_normal(when.size)
    return {
        "throttle": Signal(when, throttle, "throttle"),
        "brake_pressure": Signal(when, pressure, "brake_pressure"),
    }


def _satellite_signals(
    run: TrueRun, draw: DayDraw, law: SatelliteLaw, rng: np.random.Generator
) -> dict[str, Signal]:
    when = sample_clock(law, rng, 0.0, float(run.time_s[-1]))
    signals = {"gps_speed": satellite_speed(law, rng, when, run.time_s, run.speed)}
    if draw.scenario.position_channels:
        heading, road = draw.road.heading_rad, draw.road
        # across is to the right of 'out'
        north = run.along_m * np.cos(heading) - run.across_m * np.sin(heading)
        east = run.along_m * np.sin(heading) + run.across_m * np.cos(heading)
        origin = (road.latitude_rad, road.longitude_rad)
        signals["latitude"], signals["longitude"] = satellite_position(
            law=law,
            rng=rng,
            when=when,
            time_s=run.time_s,
            north_m=north,
            east_m=east,
            origin_rad=origin,
        )
    return signals
