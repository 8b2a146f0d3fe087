"""Wind as a moving car meets it: head and cross wind, air speed, yaw.

Directions are true bearings, clockwise from north; a wind is named by where it comes from, as weather
services do. Head wind is positive against the car, cross wind positive from the car's right.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_not_negative


class WindAtCar(NamedTuple):
    """Wind components in the car's axes: head_mps against the car, cross_mps from its right [m/s]."""

    head_mps: FloatArray
    cross_mps: FloatArray


def wind_at_car(wind_speed_mps: ArrayLike, wind_from_rad: ArrayLike, heading_rad: ArrayLike) -> WindAtCar:
    """Head and cross wind from a weather reading.

    w_x = w cos(φ_w - φ_car),  w_y = w sin(φ_w - φ_car)

    wind_speed_mps: wind speed over the ground [m/s]
    wind_from_rad: bearing the wind comes from [rad]
    heading_rad: bearing the car drives to [rad]

    Returns (w_x, w_y) [m/s], broadcast shape. Raises ValueError for a negative wind speed.
    Source: 40 CFR 1037.528, theoretical air speed from a stationary anemometer.
    """
    require_not_negative(wind_speed_mps=wind_speed_mps)
    w, origin, heading = floats(wind_speed_mps, wind_from_rad, heading_rad)
    return WindAtCar(w * np.cos(origin - heading), w * np.sin(origin - heading))


def air_speed(speed_mps: ArrayLike, head_wind_mps: ArrayLike, cross_wind_mps: ArrayLike = 0.0) -> FloatArray:
    """Speed of the air relative to the car: U = sqrt((v + w_x)² + w_y²).

    speed_mps: ground speed v; head_wind_mps: w_x; cross_wind_mps: w_y [m/s].
    Returns U [m/s], broadcast shape.
    Source: 40 CFR 1037.528, v_air = sqrt(w² + v² + 2 w v cos(φ_w - φ_veh)).
    """
    v, w_x, w_y = floats(speed_mps, head_wind_mps, cross_wind_mps)
    return np.hypot(v + w_x, w_y)


def yaw_angle(speed_mps: ArrayLike, head_wind_mps: ArrayLike, cross_wind_mps: ArrayLike) -> FloatArray:
    """Angle of the oncoming air to the car's axis: β = atan2(w_y, v + w_x).

    speed_mps: ground speed v; head_wind_mps: w_x; cross_wind_mps: w_y [m/s].
    Returns β [rad], broadcast shape, positive for air from the right.
    Source: 40 CFR 1037.528, yaw from a stationary anemometer.
    """
    v, w_x, w_y = floats(speed_mps, head_wind_mps, cross_wind_mps)
    return np.arctan2(w_y, v + w_x)
