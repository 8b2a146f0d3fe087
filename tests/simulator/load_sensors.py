"""What damper, ride-height and push-rod sensors write of the axles' motion.

Every kind is drawn on every day, so that days that log different ones are the same day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.testday.values import Signal
from tests.simulator.car import CarDraw
from tests.simulator.car_loads import DAMPER_GAIN_U
from tests.simulator.scenario import Scenario
from tests.simulator.suspension import AxleMotion, SuspensionLaw
from tests.simulator.wind import ou_path

FloatArray = NDArray[np.float64]
RATE_HZ = 100.0
CORNERS = ("fl", "fr", "rl", "rr")
HEIGHT_GAIN_U = 0.005
ROLL_M, ROLL_S = 3e-4, 1.5  # half the difference of left and right, and how fast it changes


@dataclass(frozen=True, slots=True, eq=False)
class LoadSensorLaw:
    """Gains and zeros by corner (shape (4,)); of the rods: noise, wander in ten minutes and road rms [N]."""

    damper_gain: FloatArray
    height_gain: FloatArray
    height_zero_m: FloatArray
    rod_zero_n: FloatArray
    rod_noise_n: float
    rod_drift_n: float
    rod_road_n: float


def draw_load_sensor_law(rng: np.random.Generator) -> LoadSensorLaw:
    return LoadSensorLaw(
        damper_gain=1.0 + DAMPER_GAIN_U * rng.standard_normal(4),
        height_gain=1.0 + HEIGHT_GAIN_U * rng.standard_normal(4),
        height_zero_m=rng.uniform(-0.002, 0.002, 4),
        rod_zero_n=rng.uniform(-300.0, 300.0, 4),
        rod_noise_n=float(rng.uniform(1.0, 5.0)),
        rod_drift_n=float(rng.uniform(0.0, 8.0)),
        rod_road_n=float(rng.uniform(10.0, 40.0)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class LoggedMotion:
    """The axles on the loggers' clock, shape (n,): travel [m], load in the rods [N], ride height over the
    axle [m], half the difference of left and right wheel travel [m]; shake: 0 at rest to 1 at speed."""

    when: FloatArray
    travel: tuple[FloatArray, FloatArray]
    rod: tuple[FloatArray, FloatArray]
    height: tuple[FloatArray, FloatArray]
    roll: tuple[FloatArray, FloatArray]
    shake: FloatArray


def logged_motion(
    car: CarDraw,
    rng: np.random.Generator,
    *,
    time_s: FloatArray,
    speed_mps: FloatArray,
    motions: tuple[AxleMotion, AxleMotion],
    static_heights_m: tuple[float, float],
) -> LoggedMotion:
    """Sample the axles; ride height = standing − wheel travel − tyre deflection + growth of the tyre."""
    when = np.arange(time_s[0], time_s[-1], 1.0 / RATE_HZ)
    shake = np.interp(when, time_s, np.minimum(speed_mps / 10.0, 1.0))
    heights = []
    for axle, motion, static in zip((car.front, car.rear), motions, static_heights_m, strict=True):
        deflection = motion.load_n / (2.0 * axle.tyre_rate.true) - axle.lift_per_mps2 * speed_mps**2
        heights.append(np.interp(when, time_s, static - motion.travel_m - deflection))
    travel = [np.interp(when, time_s, m.travel_m) for m in motions]
    rod = [np.interp(when, time_s, m.rod_n) for m in motions]
    roll = [ou_path(rng, when.size, 1.0 / RATE_HZ, ROLL_S, ROLL_M) * shake for _ in motions]
    return LoggedMotion(when, *((a, b) for a, b in (travel, rod, heights, roll)), shake=shake)


def load_roles(scenario: Scenario) -> tuple[str, ...]:
    """The channels that scenario.load_sources log."""
    four = scenario.height_sensors == 4
    ends = {"damper": CORNERS, "ride height": CORNERS if four else ("front", "rear"), "push rod": CORNERS}
    names = {"damper": "damper", "ride height": "ride_height", "push rod": "pushrod_load"}
    return tuple(f"{names[s]}_{end}" for s in scenario.load_sources for end in ends[s])


def load_signals(
    car: CarDraw,
    law: SuspensionLaw,
    sensors: LoadSensorLaw,
    rng: np.random.Generator,
    motion: LoggedMotion,
    *,
    scenario: Scenario,
) -> dict[str, Signal]:
    """The channels of scenario.load_sources, SI: damper_* in bump positive, ride_height_*, pushrod_load_*."""
    kinds = {
        "damper": _dampers(car, law, sensors, rng, motion),
        "ride height": _heights(car, law, sensors, rng, motion, number=scenario.height_sensors),
        "push rod": _rods(car, sensors, rng, motion),
    }
    logged = {role: v for source in scenario.load_sources for role, v in kinds[source].items()}
    return {role: Signal(motion.when, values, role) for role, values in logged.items()}


def _dampers(
    car: CarDraw, law: SuspensionLaw, sensors: LoadSensorLaw, rng: np.random.Generator, motion: LoggedMotion
) -> dict[str, FloatArray]:
    found = {}
    for j, corner in enumerate(CORNERS):
        axle = (car.front, car.rear)[j // 2]
        damper = axle.motion_ratio.true * (motion.travel[j // 2] + (-1.0) ** j * motion.roll[j // 2])
        damper = sensors.damper_gain[j] * damper + _sensor_error(law, rng, law.zero_m[j], motion.shake)
        found[f"damper_{corner}"] = np.round(damper / law.step_m) * law.step_m
    return found


def _heights(
    car: CarDraw,
    law: SuspensionLaw,
    sensors: LoadSensorLaw,
    rng: np.random.Generator,
    motion: LoggedMotion,
    *,
    number: int,
) -> dict[str, FloatArray]:
    """At the sensors' places by the lever rule from the axles; four sensors feel the roll, two do not."""
    pitch = (motion.height[0] - motion.height[1]) / car.wheelbase.true
    found = {}
    for j, corner in enumerate(CORNERS):
        axle = (car.front, car.rear)[j // 2]
        height = motion.height[j // 2] + pitch * axle.sensor_x.true
        if number == 4:
            height = height - (-1.0) ** j * motion.roll[j // 2]
        error = _sensor_error(law, rng, sensors.height_zero_m[j], motion.shake)
        noise = law.height_noise_m * rng.standard_normal(motion.when.size)
        found[f"ride_height_{corner}"] = sensors.height_gain[j] * height + error + noise
    if number == 4:
        return found
    return {"ride_height_front": found["ride_height_fl"], "ride_height_rear": found["ride_height_rl"]}


def _rods(
    car: CarDraw, sensors: LoadSensorLaw, rng: np.random.Generator, motion: LoggedMotion
) -> dict[str, FloatArray]:
    """Half of the axle's load, the roll's share, over the ratio; plus zero, wander, road and noise."""
    found = {}
    for j, corner in enumerate(CORNERS):
        axle, k = (car.front, car.rear)[j // 2], j // 2
        if axle.pushrod_ratio is None:
            raise ValueError("the car has no push rods: draw it by with_load_properties")
        wheel = 0.5 * motion.rod[k] + (-1.0) ** j * 0.5 * axle.wheel_rate_n_per_m * motion.roll[k]
        wander = sensors.rod_drift_n * _walk(rng, motion.when.size)
        road = ou_path(rng, motion.when.size, 1.0 / RATE_HZ, 0.03, sensors.rod_road_n) * motion.shake
        noise = sensors.rod_noise_n * rng.standard_normal(motion.when.size)
        error = sensors.rod_zero_n[j] + wander + road + noise
        found[f"pushrod_load_{corner}"] = wheel / axle.pushrod_ratio.true + error
    return found


def _walk(rng: np.random.Generator, n: int) -> FloatArray:
    """A random walk from zero with a standard deviation of 1 after ten minutes."""
    return np.asarray(np.sqrt(1.0 / RATE_HZ / 600.0) * np.cumsum(rng.standard_normal(n)))


def _sensor_error(
    law: SuspensionLaw, rng: np.random.Generator, zero_m: float, shake: FloatArray
) -> FloatArray:
    road = ou_path(rng, shake.size, 1.0 / RATE_HZ, 0.03, law.road_m) * shake
    noise = law.noise_m * rng.standard_normal(shake.size)
    return zero_m + law.drift_m * _walk(rng, shake.size) + road + noise
