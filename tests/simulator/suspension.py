"""Axle loads, and how springs see them through joints that hold.

Axle load change from static at the ground, with a = dv/dt and γ uphill in the direction of travel:

    F_front = ½ρU²·SCz_front − [m (a + gγ) h + (ΣJ/r) a]/L,   F_rear with + .

The links of the driven rear axle take s·F_x·h/L of its load off the springs (anti-squat s, drive force F_x).
What is left reaches the springs after a short lag through joints with Coulomb friction: a play of ± friction,
which a shaking road may work loose. A part of the joints lies before the push rod, the rest behind it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.simulator.car import CarDraw
from tests.simulator.wind import ou_path

FloatArray = NDArray[np.float64]
GRAVITY = 9.80665
SHAKE_S = 0.03


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


@dataclass(frozen=True, slots=True)
class JointLaw:
    """shake_n: rms of the fast load that the road puts on an axle's joints at speed, 0 on days of pure play;
    before_rod: share of the friction that lies before the push rod; rest: where in its play each axle's
    joints stand when a run begins, −1 to 1."""

    shake_n: tuple[float, float]
    before_rod: float
    rest: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class AxleMotion:
    """One axle, shape (n,): load at the ground [N], in both push rods' reach [N], mean wheel travel [m]."""

    load_n: FloatArray
    rod_n: FloatArray
    travel_m: FloatArray


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


def draw_joint_law(rng: np.random.Generator, friction_n: tuple[float, float]) -> JointLaw:
    """Half of the days have pure play; on the others the road shakes by 0.5 to 2.5 of the friction."""
    shaken, rest = rng.random() < 0.5, rng.uniform(-1.0, 1.0, 2)
    shake = rng.uniform(0.5, 2.5) * np.array(friction_n) * shaken
    return JointLaw(
        shake_n=(float(shake[0]), float(shake[1])),
        before_rod=float(rng.uniform(0.3, 0.7)),
        rest=(float(rest[0]), float(rest[1])),
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


def anti_squat_n(car: CarDraw, drive_n: FloatArray) -> FloatArray:
    """What the rear links take off the rear springs [N]: s·F_x·h/L."""
    return np.asarray(car.anti_squat.true * drive_n * car.cg_height.true / car.wheelbase.true)


@nb.njit(cache=True)
def through_friction(load: FloatArray, friction: float, rest: float = 0.0) -> FloatArray:
    """Load behind the joints [N]: it moves only when the load has left a play of ± friction about it.

    rest: where in its play it stands at first, −1 to 1.
    """
    out = np.empty_like(load)
    held = load[0] + rest * friction
    for i in range(load.size):
        held = min(max(held, load[i] - friction), load[i] + friction)
        out[i] = held
    return out


def axle_motions(
    car: CarDraw,
    law: SuspensionLaw,
    joints: JointLaw,
    rng: np.random.Generator,
    *,
    step_s: float,
    loads: tuple[FloatArray, FloatArray],
    drive_n: FloatArray,
    shake: FloatArray,
) -> tuple[AxleMotion, AxleMotion]:
    """What the loads at the ground do to the two axles. shake: 0 at rest to 1 at speed, shape (n,)."""
    sprung = (loads[0], loads[1] - anti_squat_n(car, drive_n))
    keep = np.exp(-step_s / law.lag_s)
    motions = []
    for k, axle in enumerate((car.front, car.rear)):
        lagged, _ = lfilter([1.0 - keep], [1.0, -keep], sprung[k], zi=[keep * sprung[k][0]])
        shaken = lagged + ou_path(rng, shake.size, step_s, SHAKE_S, joints.shake_n[k]) * shake
        before = joints.before_rod * law.friction_n[k]
        rod = through_friction(shaken, before, joints.rest[k])
        spring = through_friction(rod, law.friction_n[k] - before, joints.rest[k])
        motions.append(AxleMotion(loads[k], rod, spring / axle.wheel_rate_n_per_m))
    return motions[0], motions[1]
