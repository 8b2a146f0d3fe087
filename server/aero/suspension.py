"""From damper travel, strain or ride height to the load on an axle.

Travel is positive in bump (compression); the motion ratio MR is damper travel over wheel travel. All of it
holds for the means of left and right, in which anti-roll bars cancel.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_positive

Table = Sequence[tuple[float, float]]


def wheel_rate(spring_rate_n_per_m: ArrayLike, motion_ratio: ArrayLike) -> FloatArray:
    """Rate at the wheel of a spring that the damper carries: K_w = k MR².

    spring_rate_n_per_m: k, one corner [N/m]; motion_ratio: MR [-]. Returns K_w [N/m], broadcast shape.
    Raises ValueError unless both are above zero.
    Source: W. F. Milliken, D. L. Milliken, Race Car Vehicle Dynamics, ch. 16 (from memory), MR constant.
    """
    require_positive(spring_rate_n_per_m=spring_rate_n_per_m, motion_ratio=motion_ratio)
    k, MR = floats(spring_rate_n_per_m, motion_ratio)
    return k * MR**2


def series_rate(*rates_n_per_m: ArrayLike) -> FloatArray:
    """Rate of springs one behind the other: 1/K = Σ 1/K_i; of wheel rate and tyre rate it is the ride rate.

    rates_n_per_m: two or more rates [N/m]. Returns K [N/m], broadcast shape.
    Raises ValueError unless all are above zero.
    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 5, ride rate (from memory).
    """
    for rate in rates_n_per_m:
        require_positive(rates_n_per_m=rate)
    total = np.zeros(())
    for rate in floats(*rates_n_per_m):
        total = total + 1.0 / rate
    return np.asarray(1.0 / total)


def ride_frequency(ride_rate_n_per_m: ArrayLike, sprung_mass_kg: ArrayLike) -> FloatArray:
    """Natural frequency of a sprung mass: f = sqrt(K/m) / 2π. A check on a spring rate typed in.

    ride_rate_n_per_m: K; sprung_mass_kg: m on that spring [kg]. Returns f [Hz], broadcast shape.
    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 5 (from memory).
    """
    require_positive(ride_rate_n_per_m=ride_rate_n_per_m, sprung_mass_kg=sprung_mass_kg)
    K, m = floats(ride_rate_n_per_m, sprung_mass_kg)
    return np.sqrt(K / m) / (2.0 * np.pi)


def damper_travel(wheel_travel_m: ArrayLike, motion_ratio_table: Table) -> FloatArray:
    """Damper travel of a wheel travel when MR changes along it: d = ∫ MR dz from 0.

    wheel_travel_m: z [m]; motion_ratio_table: (wheel travel [m], MR [-]), rising, linear between,
    held beyond its ends.
    Returns d [m], same shape. Raises ValueError for a table that does not rise or an MR not above zero.
    """
    z, MR = _table("motion_ratio_table", motion_ratio_table)
    require_positive(motion_ratio_table=MR)
    (x,) = floats(wheel_travel_m)
    steps = np.concatenate([[0.0], np.cumsum(0.5 * (MR[1:] + MR[:-1]) * np.diff(z))])
    return _travel(x, z, MR, steps) - _travel(np.zeros(()), z, MR, steps)


def wheel_travel(damper_travel_m: ArrayLike, motion_ratio_table: Table) -> FloatArray:
    """Wheel travel of a damper travel: the inverse of `damper_travel`.

    Within a stretch where MR runs from MR0 with slope κ:  z = 2 d / (MR0 + sqrt(MR0² + 2 κ d)).

    damper_travel_m: d [m]; motion_ratio_table as in `damper_travel`. Returns z [m], same shape.
    """
    z, MR = _table("motion_ratio_table", motion_ratio_table)
    require_positive(motion_ratio_table=MR)
    (d,) = floats(damper_travel_m)
    knots = damper_travel(z, motion_ratio_table)
    piece = np.clip(np.searchsorted(knots, d, side="right") - 1, 0, len(z) - 1)
    slopes = np.append(np.diff(MR) / np.diff(z), 0.0)
    slope = np.where(d < knots[0], 0.0, slopes[piece])
    rest = d - knots[piece]
    return z[piece] + 2.0 * rest / (MR[piece] + np.sqrt(MR[piece] ** 2 + 2.0 * slope * rest))


def axle_load_from_dampers(
    left_m: ArrayLike, right_m: ArrayLike, spring_rate_n_per_m: ArrayLike, motion_ratio: ArrayLike
) -> FloatArray:
    """Axle load away from where the dampers read zero: F = 2 k MR² · mean(left, right)/MR.

    left_m, right_m: damper travel, bump positive [m]; spring_rate_n_per_m: k, one corner [N/m]
    motion_ratio: MR, a number, or an array of its value at each sample [-]

    Returns F [N], broadcast shape. With an MR that changes, the load away from zero travel is k d MR: the
    virtual work of the spring, F dz = 2 k d dd. Source: K = 2 k MR², wheel travel = damper travel / MR.
    """
    require_positive(spring_rate_n_per_m=spring_rate_n_per_m, motion_ratio=motion_ratio)
    left, right, k, MR = floats(left_m, right_m, spring_rate_n_per_m, motion_ratio)
    return 2.0 * k * MR * 0.5 * (left + right)


def axle_load_from_heave_table(wheel_travel_m: ArrayLike, heave_table: Table) -> FloatArray:
    """Axle force of a heave spring or bump stop by table, linear between its points.

    wheel_travel_m: mean of left and right, bump positive [m]
    heave_table: (wheel travel [m], axle force [N]), rising travel

    Returns F [N], same shape; nan outside the table: what was not measured is not guessed.
    Raises ValueError for a table of fewer than two points or one that does not rise.
    """
    z, F = _table("heave_table", heave_table)
    (x,) = floats(wheel_travel_m)
    return np.asarray(np.interp(x, z, F, left=np.nan, right=np.nan))


def axle_load_from_push_rods(
    left_n: ArrayLike, right_n: ArrayLike, installation_ratio: ArrayLike
) -> FloatArray:
    """Axle load from push-rod forces: F = (left + right) · ratio.

    left_n, right_n: compression of the rods, positive in bump [N]
    installation_ratio: load at the wheel over load in the rod [-]

    Returns F [N], broadcast shape.
    """
    left, right, ratio = floats(left_n, right_n, installation_ratio)
    return (left + right) * ratio


def axle_load_from_ride_height(
    drop_m: ArrayLike, axle_wheel_rate_n_per_m: ArrayLike, axle_tyre_rate_n_per_m: ArrayLike
) -> FloatArray:
    """Axle load from how far the body has come down over the axle, springs and tyres giving way in series.

    F = K_ride · drop,  1/K_ride = 1/K_wheel + 1/K_tyre, both sides of the axle together

    drop_m: static ride height less the present one [m]; rates of the whole axle (two corners) [N/m].
    Returns F [N], broadcast shape. Raises ValueError unless both rates are above zero.
    """
    (drop,) = floats(drop_m)
    return series_rate(axle_wheel_rate_n_per_m, axle_tyre_rate_n_per_m) * drop


def heights_at_axles(
    front_height_m: ArrayLike,
    rear_height_m: ArrayLike,
    wheelbase_m: float,
    front_sensor_ahead_m: float = 0.0,
    rear_sensor_ahead_m: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Ride heights over the axles from sensors elsewhere, by the lever rule for a rigid body.

    h(x) = h_f + (x_f - x)(h_r - h_f)/(x_f - x_r), x forward from the front axle; x_f = a_f, x_r = a_r - L

    front_height_m, rear_height_m: as read [m]; wheelbase_m: L [m]
    front_sensor_ahead_m, rear_sensor_ahead_m: a_f, a_r, how far each sensor stands ahead of its axle [m]

    Returns heights at front and rear axle [m], broadcast shape.
    Raises ValueError unless L is above zero and the front sensor stands ahead of the rear one.
    """
    require_positive(wheelbase_m=wheelbase_m)
    h_f, h_r = floats(front_height_m, rear_height_m)
    x_f, x_r = front_sensor_ahead_m, rear_sensor_ahead_m - wheelbase_m
    if x_f <= x_r:
        raise ValueError("front_sensor_ahead_m: the front sensor must stand ahead of the rear one")
    slope = (h_r - h_f) / (x_f - x_r)
    return h_f + slope * x_f, h_f + slope * (x_f + wheelbase_m)


def anti_squat_lift(
    drive_force_n: ArrayLike, anti_squat: ArrayLike, cg_height_m: ArrayLike, wheelbase_m: ArrayLike
) -> FloatArray:
    """Axle load that the links of the driven axle carry past its springs: F = s F_x h / L.

    drive_force_n: F_x at the contact patches, driving positive [N]; anti_squat: s, 1 for 100 % [-]
    cg_height_m: h; wheelbase_m: L [m]. Add F to what the springs of that axle show: rear driven,
    the links take load off the springs (front driven: s of the anti-lift geometry, and F is subtracted).

    Returns F [N], broadcast shape. Source: definition of anti-squat as the share of the inertial transfer
    F_x h/L that the links react, T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 7 (from memory).
    """
    require_positive(wheelbase_m=wheelbase_m)
    F_x, s, h, L = floats(drive_force_n, anti_squat, cg_height_m, wheelbase_m)
    return s * F_x * h / L


def _table(name: str, table: Table) -> tuple[FloatArray, FloatArray]:
    pairs = np.asarray(table, dtype=np.float64)
    if pairs.ndim != 2 or pairs.shape[1] != 2 or len(pairs) < 2:
        raise ValueError(f"{name} needs at least two pairs of numbers")
    if np.any(np.diff(pairs[:, 0]) <= 0.0):
        raise ValueError(f"{name} must rise in its first column")
    return pairs[:, 0], pairs[:, 1]


def _travel(x: FloatArray, z: FloatArray, MR: FloatArray, steps: FloatArray) -> FloatArray:
    """∫ MR dz from z[0] to x, MR linear between the knots and held beyond them."""
    piece = np.clip(np.searchsorted(z, x, side="right") - 1, 0, len(z) - 1)
    slopes = np.append(np.diff(MR) / np.diff(z), 0.0)
    rest = x - z[piece]
    slope = np.where(x < z[0], 0.0, slopes[piece])
    return np.asarray(steps[piece] + MR[piece] * rest + 0.5 * slope * rest**2)
