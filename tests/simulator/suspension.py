"""Axle loads and what damper and ride-height sensors make of them.

Axle load change from static at the ground, with a = dv/dt and γ uphill in the direction of travel:

    F_front = ½ρU²·SCz_front − [m (a + gγ) h + (ΣJ/r) a]/L,   F_rear with + .

The springs see the load through joints with Coulomb friction (a play of ± friction) and a short lag.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from server.testday.values import Signal
from tests.simulator.car import AxleDraw, CarDraw
from tests.simulator.wind import ou_path

FloatArray = NDArray[np.float64]
GRAVITY = 9.80665
DAMPER_RATE_HZ = 100.0


@dataclass(frozen=True, slots=True)
class SuspensionLaw:
    """friction_n: Coulomb friction of an axle, at the wheels, front and rear; zero_m and drift_m: offset of a
    sensor, what it wanders in ten minutes; noise_m, step_m: of a damper sensor; road_m: rms of unevenness."""

    friction_n: tuple[float, float]
    lag_s: float
    zero_m: FloatArray
    drift_m: float
    noise_m: float
    step_m: float
    road_m: float
    height_noise_m: float


def draw_suspension_law(rng: np.random.Generator) -> SuspensionLaw:
    return SuspensionLaw(
        friction_n=(float(rng.uniform(5.0, 40.0)), float(rng.uniform(5.0, 40.0))),
        lag_s=float(rng.uniform(0.03, 0.1)),
        zero_m=rng.uniform(-0.02, 0.02, 6),
        drift_m=float(rng.uniform(0.0, 1e-4)),
        noise_m=float(rng.uniform(2e-5, 6e-5)),
        step_m=float(rng.choice([1e-5, 2e-5, 5e-5])),
        road_m=float(rng.uniform(2e-4, 8e-4)),
        height_noise_m=float(rng.uniform(2e-4, 5e-4)),
    )


def axle_loads(
    car: CarDraw,
    mass_kg: float,
    *,
    accel: FloatArray,
    grade_ahead: FloatArray,
    front_downforce: FloatArray,
    rear_downforce: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Axle load change from static on level ground [N], front and rear; shapes (n,)."""
    moment = mass_kg * (accel + GRAVITY * grade_ahead) * car.cg_height.true + car.spin_momentum_kgm * accel
    transfer = moment / car.wheelbase.true
    return front_downforce - transfer, rear_downforce + transfer


@nb.njit(cache=True)
def through_friction(load: FloatArray, friction: float) -> FloatArray:
    """Load at the springs [N]: they move only when the load has left a play of ± friction about them."""
    out = np.empty_like(load)
    held = load[0]
    for i in range(load.size):
        held = min(max(held, load[i] - friction), load[i] + friction)
        out[i] = held
    return out


def wheel_travel(
    axle: AxleDraw, law: SuspensionLaw, load: FloatArray, friction: float, step_s: float
) -> FloatArray:
    """Mean wheel travel of an axle [m], positive in bump."""
    keep = np.exp(-step_s / law.lag_s)
    lagged, _ = lfilter([1.0 - keep], [1.0, -keep], load, zi=[keep * load[0]])
    return through_friction(lagged, friction) / axle.wheel_rate_n_per_m


def suspension_signals(
    *,
    car: CarDraw,
    law: SuspensionLaw,
    rng: np.random.Generator,
    time_s: FloatArray,
    loads: tuple[FloatArray, FloatArray],
    speed_mps: FloatArray,
    static_heights_m: tuple[float, float],
) -> dict[str, Signal]:
    """damper_fl … damper_rr [m, bump positive]; ride_height_front and _rear [m] at their sensors."""
    step = float(time_s[1] - time_s[0])
    when = np.arange(time_s[0], time_s[-1], 1.0 / DAMPER_RATE_HZ)
    shake = np.interp(when, time_s, np.minimum(speed_mps / 10.0, 1.0))
    signals: dict[str, Signal] = {}
    sinks = []
    for k, (axle, sides) in enumerate(((car.front, ("fl", "fr")), (car.rear, ("rl", "rr")))):
        travel = wheel_travel(axle, law, loads[k], law.friction_n[k], step)
        sinks.append(travel + loads[k] / (2.0 * axle.tyre_rate.true))
        roll = ou_path(rng, when.size, 0.01, 1.5, 3e-4) * shake
        for j, side in enumerate(sides):
            damper = axle.motion_ratio.true * (np.interp(when, time_s, travel) + (-1.0) ** j * roll)
            damper += _sensor_error(law, rng, law.zero_m[2 * k + j], shake)
            steps = np.round(damper / law.step_m)
            signals[f"damper_{side}"] = Signal(when, steps * law.step_m, f"damper_{side}")
    for k, height in enumerate(_heights_at_sensors(car, sinks, static_heights_m)):
        noisy = np.interp(when, time_s, height) + _sensor_error(law, rng, 0.1 * law.zero_m[4 + k], shake)
        name = ("ride_height_front", "ride_height_rear")[k]
        signals[name] = Signal(when, noisy + law.height_noise_m * rng.standard_normal(when.size), name)
    return signals


def _heights_at_sensors(
    car: CarDraw, sinks: list[FloatArray], static_heights_m: tuple[float, float]
) -> list[FloatArray]:
    """Ride heights where the sensors sit, by the lever rule from the axles."""
    front, rear = (static_heights_m[k] - sinks[k] for k in range(2))
    pitch = (front - rear) / car.wheelbase.true
    return [front + pitch * car.front.sensor_x_m, rear + pitch * car.rear.sensor_x_m]


def _sensor_error(
    law: SuspensionLaw, rng: np.random.Generator, zero_m: float, shake: FloatArray
) -> FloatArray:
    drift = law.drift_m * np.sqrt(1.0 / DAMPER_RATE_HZ / 600.0) * np.cumsum(rng.standard_normal(shake.size))
    road = ou_path(rng, shake.size, 1.0 / DAMPER_RATE_HZ, 0.03, law.road_m) * shake
    return zero_m + drift + road + law.noise_m * rng.standard_normal(shake.size)
