"""The roles a channel can play: what each measures in SI, what is plausible, how a sentence calls it."""

from __future__ import annotations

import math
from dataclasses import dataclass

CORNERS = ("fl", "fr", "rl", "rr")
_CORNER_WORDS = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}


@dataclass(frozen=True, slots=True)
class Role:
    """A role: SI unit by its dimension, plausible range [low, high] in SI, its name in a sentence.

    ask: two candidates or a missing unit are asked about; for the other roles they are only noted.
    example_unit: what the line to add shows. usual_unit: taken where none is written, by common practice.
    """

    name: str
    dimension: str
    low: float
    high: float
    spoken: str
    example_unit: str
    ask: bool = False
    usual_unit: str | None = None

    @property
    def is_speed(self) -> bool:
        """Whether the role is a speed of the car over ground."""
        return self.name in SPEED_ROLES


SPEED_ROLES = ("gps_speed", "vehicle_speed", *(f"wheel_speed_{corner}" for corner in CORNERS))
_TOP_SPEED = 130.0
_HALF_TURN = math.pi
_C_0 = 273.15


def _speed(name: str, spoken: str) -> Role:
    return Role(name, "speed", -5.0, _TOP_SPEED, spoken, "km/h", ask=True)


def _per_corner(
    stem: str, dimension: str, span: tuple[float, float], spoken: str, unit: str
) -> tuple[Role, ...]:
    return tuple(
        Role(f"{stem}_{corner}", dimension, *span, f"the {_CORNER_WORDS[corner]} {spoken}", unit)
        for corner in CORNERS
    )


_ALL: tuple[Role, ...] = (
    _speed("gps_speed", "the satellite speed"),
    _speed("vehicle_speed", "the car's own speed"),
    *(_speed(f"wheel_speed_{corner}", f"the {_CORNER_WORDS[corner]} wheel's speed") for corner in CORNERS),
    Role("latitude", "angle", -0.5 * math.pi, 0.5 * math.pi, "the latitude", "deg", True, "deg"),
    Role("longitude", "angle", -_HALF_TURN, 2 * _HALF_TURN, "the longitude", "deg", True, "deg"),
    Role("altitude", "length", -450.0, 5500.0, "the altitude", "m"),
    Role("heading", "angle", -2 * _HALF_TURN, 2 * _HALF_TURN + 0.1, "the heading", "deg"),
    Role("throttle", "fraction", -0.1, 1.1, "the throttle", "%", True),
    Role("brake_pressure", "pressure", -1e6, 3e7, "the brake pressure", "bar", True),
    Role("steering_angle", "angle", -15.0, 15.0, "the steering angle", "deg"),
    Role("accel_long", "acceleration", -80.0, 80.0, "the longitudinal acceleration", "g"),
    Role("accel_lat", "acceleration", -80.0, 80.0, "the lateral acceleration", "g"),
    Role("yaw_rate", "rotation", -10.0, 10.0, "the yaw rate", "deg/s"),
    *_per_corner("damper", "length", (-0.3, 0.3), "damper travel", "mm"),
    Role("ride_height_front", "length", -0.1, 0.5, "the front ride height", "mm"),
    Role("ride_height_rear", "length", -0.1, 0.5, "the rear ride height", "mm"),
    *_per_corner("ride_height", "length", (-0.1, 0.5), "ride height", "mm"),
    *_per_corner("pushrod_load", "force", (-5e4, 5e4), "push-rod load", "N"),
    Role("airspeed", "speed", -5.0, _TOP_SPEED, "the air speed", "m/s"),
    Role("air_yaw", "angle", -_HALF_TURN, _HALF_TURN, "the yaw of the air", "deg"),
    Role("motor_torque", "torque", -3000.0, 3000.0, "the motor torque", "Nm", True),
    Role("motor_speed", "rotation", -3000.0, 3000.0, "the motor speed", "rpm"),
    Role("clutch", "fraction", -0.1, 1.1, "the clutch", "%"),
    Role("gear", "gear", -2.0, 12.0, "the gear", "gear", usual_unit="gear"),
    *_per_corner("tyre_temperature", "temperature", (_C_0 - 40, _C_0 + 250), "tyre temperature", "°C"),
    *_per_corner("tyre_pressure", "pressure", (-1e5, 1e6), "tyre pressure", "bar"),
)
ROLES: dict[str, Role] = {role.name: role for role in _ALL}
ROLE_NAMES: tuple[str, ...] = ("time", *ROLES)
