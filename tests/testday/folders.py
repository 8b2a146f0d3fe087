"""Day folders for the tests: one with nothing but what is required, one with every key."""

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from server.errors import DayFolderError
from server.testday.folder import read_folder
from server.testday.values import Day

MINIMAL = """
[car]
mass_kg = 236.0

[[weather]]
pressure_hpa = 1009.0
temperature_c = 17.0

[[runs]]
log = "logs/run01.csv"
"""

FULL = """
format = 1
name = "Long apron, first outing"
date = 2026-05-09
timezone = "Europe/Lisbon"
reference_speed_mps = 21.5
notes = "Dry, a little dust."
signals = "bus/car.dbc"

[venue]
name = "long apron"
heading_deg = 82.0
length_m = 1200
grade = 0.0015
grade_u = 0.0002
elevation = "survey/elevation.csv"
altitude_m = 40

[car]
name = "Car 7"
mass_kg = 236.0
mass_u_kg = 0.4
corner_mass_kg = [73.15, 73.15, 80.85, 80.85]
corner_mass_u_kg = 0.2
driver_aboard_kg = 72.0
driver_aboard_u_kg = 0.3
wheelbase_m = 1.54
wheelbase_u_m = 0.002
front_weight = 0.475
front_weight_u = 0.004
cg_height_m = 0.285
cg_height_u_m = 0.01
driveline_drag_n = 6.0
driveline_drag_u_n = 1.5
driveline_drag_n_per_mps = 0.35
driveline_drag_u_n_per_mps = 0.1
rolling_c0 = 0.02
rolling_c0_u = 0.002
rolling_c1_s_per_m = 0.00012
rolling_c1_u_s_per_m = 0.00004
driven = "all"
anti_squat = 0.2
anti_squat_u = 0.06

[car.front]
axle_inertia_kgm2 = 0.42
axle_inertia_rel_u = 0.15
tyre_radius_m = 0.2298
tyre_radius_u_m = 0.0008
spring_rate_n_per_mm = 39.0
spring_rate_u_n_per_mm = 0.5
motion_ratio = 0.92
motion_ratio_u = 0.01
wheel_rate_rel_u = 0.01
tyre_rate_n_per_mm = 92
tyre_rate_u_n_per_mm = 6
heave_table = [[0, 0], [10, 400]]
ride_height_sensor_x_m = 0.05
ride_height_sensor_x_u_m = 0.002
joint_friction_n = 12
joint_friction_u_n = 5
pushrod_ratio = 0.8
pushrod_ratio_u = 0.01

[car.rear]
axle_inertia_kgm2 = 0.55
axle_inertia_u_kgm2 = 0.05
tyre_radius_m = 0.231
tyre_radius_rel_u = 0.004
spring_rate_n_per_mm = 44.0
motion_ratio_table = [[-20, 0.9], [0, 0.95], [25.5, 1.02]]
tyre_rate_n_per_mm = 95
ride_height_sensor_x_m = -0.1

[calibration.damper_fl]
gain = 25.0
offset = -3.5
unit = "mm/V"

[calibration.pushrod_load_rr]
table = [[0.5, 0.0], [4.5, 2000.0]]
unit = "N"
gain_rel_u = 0.02

[[weather]]
time = 09:00:00
pressure_hpa = 1009.0
pressure_u_hpa = 0.5
temperature_c = 17.0
temperature_u_c = 0.3
humidity_pct = 55.0
humidity_u_pct = 4
wind_speed_mps = 1.2
wind_speed_u_mps = 0.2
wind_from_deg = 250
wind_from_u_deg = 10
gust_mps = 2.9

[[weather]]
time = "10:30"
pressure_hpa = 1008.4
temperature_c = 19.5
humidity_pct = 50.0
wind_speed_mps = 4.0
wind_from_magnetic_deg = 358
declination_deg = 7.5

[[setups]]
name = "A"
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0

[[setups]]
name = "B"
baseline = "A"
front_ride_height_mm = 30.5
rear_ride_height_mm = 38.0
parts = { rear_flap_deg = 30, gurney = true, nose = "n2" }
scz_front_m2 = 1.6
scz_front_u_m2 = 0.2
scz_rear_m2 = 2.0
scz_rear_rel_u = 0.15
notes = "Rear flap up."

[[runs]]
number = 3
setup = "A"
log = "logs/run01.csv"
clock_offset_s = 0.25
from_s = 10
to_s = 300.5
start = 09:09:00
driver_mass_kg = 72.0
driver_mass_u_kg = 0.4
coasting = "neutral"
direction = "out"
notes = "first"

[runs.channels]
gps_speed = "v_gnss"

[[runs.passes]]
start_s = 101.2
end_s = 118.9
used = false
reason = "traffic"

[[runs.passes]]
start_s = 140
end_s = 155

[[runs]]
number = 4
setup = "B"
logs = [{ file = "logs/run02.csv" }, \
{ file = "logs/box02.csv", signals = "bus/box.dbc", clock_offset_s = -1.5, from_s = 2, to_s = 9 }]
start = "09:21:30.25"
driver_mass_kg = 72.0
coasting = "inverter-off"
direction = "back"

[[spin_downs]]
log = "logs/stand.csv"
from_s = 5
to_s = 40.5
notes = "third gear out"

[spin_downs.channels]
wheel_speed_rl = "RL"

[[axle_loadings]]
axle = "rear"
mass_kg = 40.0
mass_u_kg = 0.1
share = 0.98
share_u = 0.02
log = "logs/stand.csv"
bare_from_s = 60
bare_to_s = 70
loaded_from_s = 90
loaded_to_s = 100.5

[axle_loadings.channels]
damper_rl = "pot RL"

[channels]
time = "time"
gps_speed = "gps_speed"
"""

ELEVATION = "distance_m,elevation_m\n0,40.0\n600,41.2\n1200,41.8\n"
PREDICTIONS = (
    "setup, front_ride_height_mm, rear_ride_height_mm, yaw_deg, speed_mps, scx_m2, scz_front_m2, "
    "scz_rear_m2, scx_u_m2, scz_front_u_m2, scz_rear_u_m2, part, source\n"
    "A, 34, 38, 0, 22, 1.42, 1.5, 1.9, 0.02, 0.03, 0.04, , mesh m3\n"
    "B, 30.5, 38, 3, 22, 0.21, , 1.1, , , , rear wing, mesh m3\n"
)
FULL_FILES = {"survey/elevation.csv": ELEVATION, "predictions.csv": PREDICTIONS}


def make(folder: Path, toml: str, files: Mapping[str, str] | None = None) -> Path:
    """Write a day folder and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {"testday.toml": toml, **(files or {})}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder


def read(folder: Path, toml: str, files: Mapping[str, str] | None = None) -> Day:
    """Write a day folder and read it."""
    return read_folder(make(folder, toml, files))


def refusal(folder: Path, toml: str, files: Mapping[str, str] | None = None) -> str:
    """Write a day folder that cannot be used and return the sentence that says so."""
    make(folder, toml, files)
    with pytest.raises(DayFolderError) as error:
        read_folder(folder)
    sentence = str(error.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    return sentence


def texts(day: Day, code: str) -> list[str]:
    """The texts of a day's findings of one code."""
    return [finding.text for finding in day.findings if finding.code == code]


def plain(value: Any) -> Any:
    """A day as nested dictionaries that compare by value, its runs and recordings included."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple):
        return tuple(plain(entry) for entry in value)
    if isinstance(value, Mapping):
        return {key: plain(entry) for key, entry in value.items()}
    return value
