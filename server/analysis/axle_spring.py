"""An axle's springs as one curve: force at the ground against wheel travel, both away from the standing car."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.aero.constants import STANDARD_GRAVITY
from server.aero.suspension import damper_travel
from server.analysis.result import AxleEnd
from server.testday.values import Axle, Car, FloatArray, Quantity

MOTION_RATIO_DEFAULT = Quantity(1.0, 0.15, "default")  # common practice, no source
PUSHROD_RATIO_DEFAULT = Quantity(1.0, 0.25, "default")  # common practice, no source
REACH_M = 0.08
POINTS = 1601
SPRUNG_SHARE = 0.9  # of the weight on an axle: what its springs carry (common practice, no source)


@dataclass(frozen=True, slots=True, eq=False)
class AxleSpring:
    """travel_m (k,) rising, force_n (k,) rising: corner springs of both sides with heave spring and bump stops.

    rel_u: relative standard uncertainty of the force at a given travel.
    """

    travel_m: FloatArray
    force_n: FloatArray
    rel_u: float

    def force(self, travel_m: FloatArray) -> FloatArray:
        """Force [N] at a wheel travel [m]; beyond ± 80 mm on with the last slope."""
        return _beyond(travel_m, self.travel_m, self.force_n)

    def travel(self, force_n: FloatArray) -> FloatArray:
        """Wheel travel [m] under a force [N]: the inverse of `force`."""
        return _beyond(force_n, self.force_n, self.travel_m)

    def compliance(self, force_n: FloatArray) -> FloatArray:
        """dz/dF [m/N] there."""
        step = 5.0
        return np.asarray((self.travel(force_n + step) - self.travel(force_n - step)) / (2.0 * step))

    @property
    def rate_n_per_m(self) -> float:
        """Rate of the axle at its standing height [N/m]."""
        return float(1.0 / self.compliance(np.zeros(1))[0])


def axle_spring(axle: Axle, static_load_n: float) -> AxleSpring | None:
    """The springs of an axle; None where neither a spring rate nor a heave table is given.

    With the spring force k (d + d0) MR of each corner, d0 its static compression, the change from standing is

        F = 2 [ k d MR(z) + ½W (MR(z)/MR(0) − 1) ] + F_heave(z) − F_heave(0),   d = ∫ MR dz,

    W the weight that the axle's springs carry: a motion ratio that changes moves the static load too.
    static_load_n: load on the standing axle [N].
    """
    if axle.spring_rate_n_per_m is None and not axle.heave_table:
        return None
    z = np.linspace(-REACH_M, REACH_M, POINTS)
    force = np.zeros(POINTS)
    if axle.spring_rate_n_per_m is not None:
        k = axle.spring_rate_n_per_m.value
        ratio, damper = motion_ratio(axle, z), damper_of_wheel(axle, z)
        at_rest = motion_ratio(axle, np.zeros(1))[0]
        force += 2.0 * k * damper * ratio + SPRUNG_SHARE * static_load_n * (ratio / at_rest - 1.0)
    if axle.heave_table:
        travel, load = np.array(axle.heave_table).T
        force += np.interp(z, travel, load) - np.interp(0.0, travel, load)
    # flat stretches (a heave table alone, beyond its ends) still need an inverse
    rising = np.maximum(np.diff(force), 1e-3)
    middle = POINTS // 2
    curve = np.concatenate([[0.0], np.cumsum(rising)])
    return AxleSpring(z, curve - curve[middle] + force[middle], wheel_rate_rel_u(axle))


def axle_springs(car: Car, driver_kg: float) -> dict[AxleEnd, AxleSpring | None]:
    """Springs of both axles of the car with a driver of driver_kg."""
    weight = (car.mass_kg.value + driver_kg) * STANDARD_GRAVITY
    share = car.front_weight.value
    return {"front": axle_spring(car.front, weight * share), "rear": axle_spring(car.rear, weight * (1.0 - share))}


def wheel_rate_rel_u(axle: Axle) -> float:
    """Relative u of the wheel rate: as stated, else u(k)/k and 2 u(MR)/MR together (K = k MR²).

    A motion ratio that nobody gave widens it whatever was stated: travel at the damper then says little of the wheel.
    """
    ratio = axle.motion_ratio or MOTION_RATIO_DEFAULT
    of_ratio = 0.02 if axle.motion_ratio_table else 2.0 * ratio.u / ratio.value
    guessed = axle.motion_ratio is None and not axle.motion_ratio_table
    if axle.wheel_rate_rel_u is not None:
        return max(float(np.hypot(axle.wheel_rate_rel_u, of_ratio if guessed else 0.0)), 1e-4)
    spring = axle.spring_rate_n_per_m
    of_spring = 0.02 if spring is None else spring.u / spring.value
    return max(float(np.hypot(of_spring, of_ratio)), 1e-4)


def motion_ratio(axle: Axle, wheel_travel_m: FloatArray) -> FloatArray:
    """Damper travel per wheel travel, at a wheel travel [m]."""
    if axle.motion_ratio_table:
        travel, ratio = np.array(axle.motion_ratio_table).T
        return np.asarray(np.interp(wheel_travel_m, travel, ratio))
    return np.full(np.shape(wheel_travel_m), (axle.motion_ratio or MOTION_RATIO_DEFAULT).value)


def damper_of_wheel(axle: Axle, wheel_travel_m: FloatArray) -> FloatArray:
    """Damper travel [m] at a wheel travel [m]."""
    if axle.motion_ratio_table:
        return damper_travel(wheel_travel_m, axle.motion_ratio_table)
    return wheel_travel_m * (axle.motion_ratio or MOTION_RATIO_DEFAULT).value


def wheel_of_damper(axle: Axle, damper_travel_m: FloatArray) -> FloatArray:
    """Wheel travel [m] at a damper travel [m], by table or by number."""
    if not axle.motion_ratio_table:
        return damper_travel_m / (axle.motion_ratio or MOTION_RATIO_DEFAULT).value
    z = np.linspace(-REACH_M, REACH_M, POINTS)
    return _beyond(damper_travel_m, damper_of_wheel(axle, z), z)


def _beyond(x: FloatArray, knots: FloatArray, values: FloatArray) -> FloatArray:
    """Linear interpolation that goes on with the end slopes."""
    inner = np.interp(x, knots, values)
    low = values[0] + (x - knots[0]) * (values[1] - values[0]) / (knots[1] - knots[0])
    high = values[-1] + (x - knots[-1]) * (values[-1] - values[-2]) / (knots[-1] - knots[-2])
    return np.asarray(np.where(x < knots[0], low, np.where(x > knots[-1], high, inner)))
