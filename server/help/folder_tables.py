"""What a test-day folder may say, for its help page: taken from the tables that its reading goes by."""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.testday import folder_keys as keys
from server.testday.defaults import MISSING, TYPED
from server.testday.folder_keys import NO_LIMIT, Key
from server.testday.role_table import ROLES

PLACES: tuple[tuple[str, tuple[Key, ...]], ...] = (
    ("at the top", (keys.REFERENCE_SPEED,)),
    ("[venue]", (keys.HEADING, keys.LENGTH, keys.GRADE, keys.ALTITUDE)),
    (
        "[car]",
        (
            *(keys.MASS, keys.CORNER_MASS, keys.DRIVER_ABOARD, keys.WHEELBASE, keys.FRONT_WEIGHT, keys.CG_HEIGHT),
            *(keys.DRIVELINE_DRAG, keys.DRIVELINE_DRAG_PER_SPEED, keys.ROLLING_C0, keys.ROLLING_C1, keys.ANTI_SQUAT),
        ),
    ),
    (
        "[car.front], [car.rear]",
        (
            *(keys.AXLE_INERTIA, keys.TYRE_RADIUS, keys.SPRING_RATE, keys.MOTION_RATIO, keys.WHEEL_RATE_REL_U),
            *(keys.TYRE_RATE, keys.SENSOR_X, keys.JOINT_FRICTION, keys.PUSHROD_RATIO),
        ),
    ),
    ("[calibration.role]", (keys.GAIN, keys.GAIN_REL_U, keys.OFFSET)),
    (
        "[[weather]]",
        (
            *(keys.PRESSURE, keys.TEMPERATURE, keys.HUMIDITY, keys.WIND_SPEED, keys.WIND_FROM),
            *(keys.WIND_FROM_MAGNETIC, keys.DECLINATION, keys.GUST),
        ),
    ),
    ("[[setups]]", (*keys.RIDE_HEIGHTS, *keys.SCZ, keys.BALLAST)),
    ("[[runs]]", (keys.DRIVER_MASS, *keys.TYRE_PRESSURES, keys.CLOCK_OFFSET, keys.FROM, keys.TO)),
    ("[[wanted]]", (keys.WANTED_U95,)),
)
_SCALES = {"n_per_mm": 1000.0, "pct": 0.01, "hpa": 100.0, "mm": 0.001, "deg": math.pi / 180.0}
_REQUIRED = (keys.MASS, keys.PRESSURE, keys.TEMPERATURE)
_NO_DEFAULT = (keys.DRIVER_ABOARD,)
_UNITS = {
    "": "",
    "kgm2": "kg m²",
    "n": "N",
    "n_per_mps": "N per m/s",
    "s_per_m": "s/m",
    "n_per_mm": "N/mm",
    "mps": "m/s",
    "pct": "%",
    "hpa": "hPa",
    "c": "°C",
    "deg": "°",
    "m2": "m²",
}


@dataclass(frozen=True, slots=True)
class KeyLine:
    """A key: its name, what it is, its unit, the numbers that are taken, what stands where it is missing.

    bare_u: standard uncertainty of a number that is written without one.
    """

    name: str
    what: str
    unit: str
    span: str
    missing: str
    bare_u: str


def key_tables() -> tuple[tuple[str, tuple[KeyLine, ...]], ...]:
    """The keys of each table of testday.toml."""
    return tuple((place, tuple(_line(key) for key in found)) for place, found in PLACES)


def role_lines() -> tuple[tuple[str, str, str], ...]:
    """Every role of a channel: its name, what it is, a unit that it may have."""
    return tuple((role.name, role.spoken, role.example_unit) for role in ROLES.values())


def _line(key: Key) -> KeyLine:
    unit, scale = _UNITS.get(key.unit, key.unit), _SCALES.get(key.unit, 1.0)
    span = "any number" if key.high == NO_LIMIT else f"{key.low:g} to {key.high:g}"
    missing, typed = MISSING.get(key.field), TYPED.get(key.field)
    stands = f"{missing.value / scale:g}, u {missing.u / scale:.2g}" if missing and key not in _NO_DEFAULT else ""
    absolute = f"{typed.absolute / scale:.3g}" if typed and typed.absolute else ""
    relative = f"{100.0 * typed.relative:g} %" if typed and typed.relative else ""
    bare_u = " or ".join(filter(None, (absolute, relative)))
    return KeyLine(key.name, key.what.rstrip(","), unit, span, "required" if key in _REQUIRED else stands, bare_u)
