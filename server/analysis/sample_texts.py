"""The words of the made-up season: a testday.toml for each day, as a team would type it."""

from __future__ import annotations

import math

from server.analysis.sample_logs import clock_text
from server.testday.values import WeatherReading

TEAM = """# Made up: no such team, car or airfield exists. See ../README.md.
"""

SHAKEDOWN = (
    TEAM
    + """
# The least that a day needs: the car's mass, the air, the runs and their logs. Everything else is taken at a
# default with a wide uncertainty, and the result says so.
format = 1
name = "Shakedown"
date = 2026-04-11
timezone = "Europe/London"
notes = "First roll of the season. The logger was off on the way back, so there are only runs out."

[venue]
name = "Skelmarsh old airfield, long apron"
heading_deg = 82                 # true heading of the straight; this way is "out"
length_m = 1200

[car]
name = "Wisp 5"
mass_kg = 236                    # ready to run, without driver
driven = "rear"

[[weather]]
time = 16:00:00
pressure_hpa = 1007.5            # at the station, not reduced to sea level
temperature_c = 11
humidity_pct = 71

[[setups]]
name = "A"
front_ride_height_mm = 34
rear_ride_height_mm = 38

{runs}"""
)

CAR = """[car]
name = "Wisp 5"
mass_kg = 236.0                  # ready to run, without driver, on four scales
mass_u_kg = 0.5                  # standard uncertainty; any quantity may have one
wheelbase_m = 1.54
front_weight = 0.475             # with the driver aboard
cg_height_m = 0.285
cg_height_u_m = 0.01
driveline_drag_n = 6.0           # spun down on stands last season: T0 + T1 v
driveline_drag_u_n = 1.5
driveline_drag_n_per_mps = 0.35
driveline_drag_u_n_per_mps = 0.1
rolling_c0 = 0.019               # towed with a spring scale
rolling_c0_u = 0.002
rolling_c1_s_per_m = 0.00019     # not measured: 0.010 s/m of c0, half of it as uncertainty
rolling_c1_u_s_per_m = 0.00009
driven = "rear"
anti_squat = 0.20                # from the links' drawing; matters at constant speed only
anti_squat_u = 0.05

[car.front]
axle_inertia_kgm2 = 0.42         # both wheels, hubs, discs; swung on a wire
axle_inertia_rel_u = 0.1
tyre_radius_m = 0.2298           # rolling: ten turns along a tape
spring_rate_n_per_mm = 39.0      # one corner
motion_ratio = 0.92              # damper travel / wheel travel
wheel_rate_rel_u = 0.01
tyre_rate_n_per_mm = 92          # pressed on the scales
tyre_rate_u_n_per_mm = 5
ride_height_sensor_x_m = 0.10    # ahead of the axle, behind it negative
ride_height_sensor_x_u_m = 0.005
joint_friction_n = 10            # one corner: weighed while rising and while sinking
joint_friction_u_n = 4

[car.rear]
axle_inertia_kgm2 = 0.50         # with the drive's side shafts and sprocket
axle_inertia_rel_u = 0.1
tyre_radius_m = 0.2298
spring_rate_n_per_mm = 44.0
motion_ratio = 0.88
wheel_rate_rel_u = 0.01
tyre_rate_n_per_mm = 92
tyre_rate_u_n_per_mm = 5
ride_height_sensor_x_m = -0.15
ride_height_sensor_x_u_m = 0.005
joint_friction_n = 10
joint_friction_u_n = 4
"""

CALM_MORNING = (
    TEAM
    + """
format = 1
name = "Calm morning, rear flap and front flaps"
date = 2026-05-09
timezone = "Europe/London"
reference_speed_mps = 22.0       # areas are quoted for this speed
notes = "A-B-A-C-A. Baseline first, between and last, so that what drifts over the morning shows."

[venue]
name = "Skelmarsh old airfield, long apron"
heading_deg = 82
length_m = 1200
grade = 0.0010                   # levelled end to end: uphill when travelling out
grade_u = 0.0005
altitude_m = 24

"""
    + CAR
    + """
# The dampers' potentiometers log volts.
[calibration.damper_fl]
gain = 12.5
unit = "mm/V"

[calibration.damper_fr]
gain = 12.5
unit = "mm/V"

[calibration.damper_rl]
gain = 12.5
unit = "mm/V"

[calibration.damper_rr]
gain = 12.5
unit = "mm/V"

{weather}
[[setups]]
name = "A"                       # the baseline
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0
parts = {{ rear_flap_deg = 22, front_flaps_deg = 30 }}

[[setups]]
name = "B"
baseline = "A"                   # what it is compared with
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0
parts = {{ rear_flap_deg = 34, front_flaps_deg = 30 }}

[[setups]]
name = "C"
baseline = "A"
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0
parts = {{ rear_flap_deg = 22, front_flaps_deg = 18 }}

{runs}
{stands}
# Which column plays which role, for all logs. Roles not named here are proposed from name and unit.
[channels]
wheel_speed_fl = "v front left"
wheel_speed_fr = "v front right"
gps_speed = "v satellite"
throttle = "right pedal"
"""
)

GUSTY_AFTERNOON = (
    TEAM
    + """
format = 1
name = "Gusty afternoon, rear flap again"
date = 2026-06-20
timezone = "Europe/London"
notes = "Wind got up after lunch. The car's logger and the satellite box each ran on their own clock."
weather = "weather.csv"          # the same columns as [[weather]], one reading a line

[venue]
name = "Skelmarsh old airfield, long apron"
heading_deg = 82
length_m = 1200
altitude_m = 24

"""
    + CAR
    + """
[[setups]]
name = "A"
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0
parts = {{ rear_flap_deg = 22, front_flaps_deg = 30 }}
scz_front_m2 = 1.60              # as computed; typed, because this day has no predictions.csv
scz_front_u_m2 = 0.15
scz_rear_m2 = 1.72
scz_rear_u_m2 = 0.20

[[setups]]
name = "B"
baseline = "A"
front_ride_height_mm = 34.0
rear_ride_height_mm = 38.0
parts = {{ rear_flap_deg = 34, front_flaps_deg = 30 }}
scz_front_m2 = 1.48
scz_front_u_m2 = 0.15
scz_rear_m2 = 2.10
scz_rear_u_m2 = 0.20

{runs}
# The box was switched on 1.8 s after the car's logger: clock_offset_s puts its file on the run's clock.
# It calls its satellite speed just "speed".
[channels]
gps_speed = "speed"
"""
)

SATELLITE_ONLY = (
    TEAM
    + """
format = 1
name = "Satellite box only"
date = 2026-07-18
timezone = "Europe/London"
notes = "The car's logger had stayed in the workshop. One file of the satellite box holds both runs."

[venue]
name = "Skelmarsh old airfield, long apron"
heading_deg = 82
length_m = 1200

[car]
name = "Wisp 5"
mass_kg = 236

[[weather]]
pressure_hpa = 1011
temperature_c = 23
humidity_pct = 50

[[setups]]
name = "A"

[[setups]]
name = "C"
baseline = "A"

{runs}
[channels]
gps_speed = "speed"
"""
)


def weather_tables(readings: tuple[WeatherReading, ...]) -> str:
    """[[weather]] tables of readings with wind, as they were written down."""
    tables = []
    for reading in readings:
        speed, bearing = _wind(reading)
        tables.append(
            f"""[[weather]]
time = {clock_text(reading.clock_s or 0.0)}
pressure_hpa = {reading.pressure_pa.value / 100.0:.1f}
temperature_c = {reading.temperature_k.value - 273.15:.1f}
humidity_pct = {100.0 * reading.humidity.value:.0f}
wind_speed_mps = {speed:.1f}
wind_from_deg = {bearing:.0f}
"""
        )
    return "\n".join(tables)


def weather_csv(readings: tuple[WeatherReading, ...], declination_deg: float) -> str:
    """The same as a table, the wind by a compass that points to magnetic north."""
    lines = ["time,pressure_hpa,temperature_c,humidity_pct,wind_speed_mps,wind_from_magnetic_deg,declination_deg"]
    for reading in readings:
        speed, bearing = _wind(reading)
        lines.append(
            f"{clock_text(reading.clock_s or 0.0)},{reading.pressure_pa.value / 100.0:.1f},"
            f"{reading.temperature_k.value - 273.15:.1f},{100.0 * reading.humidity.value:.0f},"
            f"{speed:.1f},{(bearing - declination_deg) % 360.0:.0f},{declination_deg:.1f}"
        )
    return "\n".join(lines) + "\n"


def _wind(reading: WeatherReading) -> tuple[float, float]:
    if reading.wind_speed_mps is None or reading.wind_from_rad is None:
        raise ValueError("reading: has no wind")
    return reading.wind_speed_mps.value, math.degrees(reading.wind_from_rad.value)
