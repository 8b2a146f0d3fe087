"""What is checked on a channel of each role, and from how large a fault on."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RoleChecks:
    """floor: least spike, in the role's SI unit; floor_per_s: how fast the car itself can change it, per s.

    still: whether a value that stays exactly the same while the car moves is a fault; least_jump: least
    change after it; ranged: whether an end of its range can clip it; only_above: no spike is sought below.
    """

    floor: float
    floor_per_s: float
    still: bool
    least_jump: float
    ranged: bool = False
    only_above: float = -math.inf


# below 4 m/s a tooth more or less in a sample looks like a spike, and no pass goes so slowly
SPEED = RoleChecks(0.5, 12.0, True, 0.5, only_above=4.0)
_TRAVEL = RoleChecks(0.004, 0.3, True, 0.0, True)
_LOAD = RoleChecks(150.0, 5e3, True, 0.0, True)
_ACCELERATION = RoleChecks(3.0, 60.0, True, 0.0, True)
_PLACE = RoleChecks(3e-6, 1e-5, False, 0.0)

CHECKS: dict[str, RoleChecks] = {
    "gps_speed": SPEED,
    "vehicle_speed": SPEED,
    "airspeed": RoleChecks(3.0, 30.0, True, 0.0, True),
    "latitude": _PLACE,
    "longitude": _PLACE,
    "accel_long": _ACCELERATION,
    "accel_lat": _ACCELERATION,
    "yaw_rate": RoleChecks(0.3, 6.0, True, 0.0, True),
}
STEMS: dict[str, RoleChecks] = {
    "wheel_speed_": SPEED,
    "damper_": _TRAVEL,
    "ride_height_": _TRAVEL,
    "pushrod_load_": _LOAD,
}


def checks_of(role: str) -> RoleChecks | None:
    """The checks of a role; None where nothing is checked (switches, temperatures, controls)."""
    stem = next((stem for stem in STEMS if role.startswith(stem)), None)
    return STEMS[stem] if stem else CHECKS.get(role)


def is_speed(role: str) -> bool:
    """Whether a role is a ground speed."""
    return role in ("gps_speed", "vehicle_speed") or role.startswith("wheel_speed_")
