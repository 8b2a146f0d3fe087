"""Days of typed times for the tests: a car of 1,000 kg in still air, as exact as its closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from server.readers.load_day import load_day
from server.testday.values import Day
from tests.testday.folders import make

GRAVITY = 9.80665
MASS_KG = 1072.0
ROTATING_KG = 2.0 * 0.9 / 0.3**2
SCX_M2, C0, DENSITY = 0.70, 0.014, 1.2071  # CIPM-2007 at 1009 hPa, 17 °C, 55 %, as the product tells it

TOML = """
name = "stopwatch"
date = 2026-05-09
[car]
mass_kg = 1000
mass_u_kg = 0.1
wheelbase_m = 2.6
front_weight = 0.5
cg_height_m = 0.5
rolling_c0 = 0.014
rolling_c0_u = 0.004
rolling_c1_s_per_m = 0.0
rolling_c1_u_s_per_m = 0.000002
driveline_drag_n = 0.0
driveline_drag_u_n = 0.1
driveline_drag_n_per_mps = 0.0
driveline_drag_u_n_per_mps = 0.001
[car.front]
axle_inertia_kgm2 = 0.9
axle_inertia_rel_u = 0.02
tyre_radius_m = 0.3
tyre_radius_u_m = 0.001
[car.rear]
axle_inertia_kgm2 = 0.9
axle_inertia_rel_u = 0.02
tyre_radius_m = 0.3
tyre_radius_u_m = 0.001
[[weather]]
pressure_hpa = 1009.0
temperature_c = 17.0
humidity_pct = 55.0
wind_speed_mps = 0.0
wind_speed_u_mps = 0.05
wind_from_deg = 0
[venue]
heading_deg = 0
grade = 0.0
grade_u = 0.00001
[[setups]]
name = "A"
scz_front_m2 = 0.0
scz_front_u_m2 = 0.01
scz_rear_m2 = 0.0
scz_rear_u_m2 = 0.01
[[runs]]
number = 1
setup = "A"
log = "logs/times01.csv"
start = 09:09:00
driver_mass_kg = 72.0
coasting = "neutral"
"""


def exact_time_s(from_mps: float, to_mps: float, scx_m2: float = SCX_M2) -> float:
    """t = [arctan(v0 √(B/A)) − arctan(v √(B/A))]/√(AB) of dv/dt = −(A + B v²): separation of variables."""
    a = C0 * MASS_KG * GRAVITY / (MASS_KG + ROTATING_KG)
    b = 0.5 * DENSITY * scx_m2 / (MASS_KG + ROTATING_KG)
    return (math.atan(from_mps * math.sqrt(b / a)) - math.atan(to_mps * math.sqrt(b / a))) / math.sqrt(a * b)


def exact_sheet(
    marks_kmh: Sequence[float], pairs: int, gain: float = 1.0, settings: str = "", off_s: float = 0.0
) -> str:
    """A sheet of marks whose times are exact to a millisecond, or off by normal errors of sd off_s; gain: reading
    over true speed."""
    rng = np.random.default_rng(7)
    true = [mark / 3.6 / gain for mark in marks_kmh]
    lines = [
        f"{mark:g};{10.0 + exact_time_s(true[0], v) + off_s * rng.standard_normal():.3f};{k};{way}"
        for k in range(1, pairs + 1)
        for way in ("out", "back")
        for mark, v in zip(marks_kmh, true, strict=True)
    ]
    return "\n".join([*settings.splitlines(), "speed_kmh;seconds;pass;direction", *lines, ""])


def typed_day(folder: Path, sheet: str, toml: str = TOML) -> Day:
    """The day of a folder that holds this sheet and no log."""
    return load_day(make(folder, toml, {"logs/times01.csv": sheet}))
