"""Every refusal is one sentence that names the file, the table and the key."""
# ruff: noqa: E501 - a table of sentences is easier to read and to search with one case a line

import re
from pathlib import Path

import pytest

from server.errors import DayFolderError
from server.testday.folder import read_folder
from tests.testday.folders import ELEVATION, FULL, FULL_FILES, MINIMAL, PREDICTIONS, make, refusal

ALTERNATIVE = '[[setups]]\nname = "A"\n[[setups]]\nname = "B"\nbaseline = "A"\n'


def full(pattern: str, instead: str) -> str:
    """The full folder with the first match of a pattern replaced."""
    text, count = re.subn(pattern, lambda _: instead, FULL, count=1, flags=re.MULTILINE)
    assert count == 1, pattern
    return text


IMPOSSIBLE = [
    # line of the full folder, what stands instead, what the sentence says
    (r"^mass_kg = .*", "mass_kg = 0", "[car] mass_kg is 0; a car's mass must lie between 50 and 3,000 kg."),
    (r"^mass_kg = .*", "mass_kg = -236.0", "[car] mass_kg is -236.0; a car's mass must lie between"),
    (r"^mass_kg = .*", 'mass_kg = "236"', "[car] mass_kg is the text '236'; it must be a number."),
    (r"^mass_kg = .*", "mass_kg = true", "[car] mass_kg is true; it must be a number."),
    (r"^mass_kg = .*", "mass_kg = [236]", "[car] mass_kg is a list; it must be a number."),
    (r"^mass_kg = .*", "mass_kg = 2026-05-09", "[car] mass_kg is 2026-05-09; it must be a number."),
    (r"^mass_kg = .*", "mass_kg = nan", "[car] mass_kg is NaN; it must be a finite number."),
    (r"^mass_kg = .*", "mass_kg = inf", "[car] mass_kg is Infinity; it must be a finite number."),
    (r"^mass_kg = .*", "mass_kg = 1e999999999999999999999", "[car] mass_kg is NaN; it must be a finite number."),
    (r"^mass_kg = .*", "mass_kg = 1e400", "[car] mass_kg is 1E+400; it must be a finite number."),
    (r"^corner_mass_kg = .*", "corner_mass_kg = [1, 2, 3]", "[car] corner_mass_kg has 3 entries; it must have 4."),
    (r"^corner_mass_kg = .*", "corner_mass_kg = [0, 73, 80, 80]", "[car] corner_mass_kg is 0; the mass on a wheel"),
    (r"^corner_mass_kg = .*", "corner_mass_kg = [80, nan, 80, 80]", "[car] corner_mass_kg is NaN; it must be a"),
    (r"^corner_mass_kg = .*", "corner_mass_kg = 310", "[car] corner_mass_kg is 310; it must be a list of 4 numbers."),
    (r"^corner_mass_kg = .*", "corner_mass_kg = [20, 20, 20, 20]", "[car] corner_mass_kg less driver_aboard_kg is 8 kg"),
    (r"^corner_mass_kg = .*", "corner_mass_kg = [150, 150, 20, 20]", "[car] corner_mass_kg puts 88% on the front axle"),
    (r"^corner_mass_kg = .*\n.*", "", "[car] driver_aboard_kg is given without corner_mass_kg."),
    (r"^wheelbase_m = .*", "wheelbase_m = 1540", "[car] wheelbase_m is 1540; a wheelbase must lie between 0.5 and 6 m"
     " (millimetres?)."),
    (r"^front_weight = .*", "front_weight = 0.85", "[car] front_weight is 0.85; the front axle's share of the weight"),
    (r"^front_weight = .*", "front_weight = 47.5", "0.2 and 0.8 (per cent?)."),
    (r"^cg_height_m = .*", "cg_height_m = 285", "[car] cg_height_m is 285; a centre of gravity's height must lie"
     " between 0.05 and 1.5 m (millimetres?)."),
    (r"^driveline_drag_n = .*", "driveline_drag_n = -1", "[car] driveline_drag_n is -1; the driveline drag"),
    (r"^driveline_drag_n_per_mps = .*", "driveline_drag_n_per_mps = 60", "[car] driveline_drag_n_per_mps is 60;"),
    (r"^rolling_c0 = .*", "rolling_c0 = 2.0", "[car] rolling_c0 is 2.0; the rolling resistance must lie between 0.001"
     " and 0.1 (per cent?)."),
    (r"^rolling_c1_s_per_m = .*", "rolling_c1_s_per_m = -0.1", "[car] rolling_c1_s_per_m is -0.1;"),
    (r"^driven = .*", 'driven = "both"', "[car] driven is the text 'both'; the driven axle must be one of front, rear or"
     " all."),
    (r"^anti_squat = .*", "anti_squat = 20", "[car] anti_squat is 20; an anti-squat share must lie between −2 and 2 (per"
     " cent?)."),
    (r"^axle_inertia_kgm2 = 0.42", "axle_inertia_kgm2 = 0", "[car.front] axle_inertia_kgm2 is 0; an axle's inertia"),
    (r"^tyre_radius_m = 0.2298", "tyre_radius_m = 229.8", "[car.front] tyre_radius_m is 229.8; a rolling radius must lie"
     " between 0.05 and 0.6 m (millimetres?)."),
    (r"^tyre_radius_m = 0.2298", "tyre_radius_m = 9", "(inches?)."),
    (r"^spring_rate_n_per_mm = 39.0", "spring_rate_n_per_mm = -39.0", "[car.front] spring_rate_n_per_mm is -39.0; a spring"
     " rate must lie between 0.5 and 2,000 N/mm."),
    (r"^spring_rate_n_per_mm = 44.0", "spring_rate_n_per_mm = 44000", "[car.rear] spring_rate_n_per_mm is 44000; a spring"
     " rate must lie between 0.5 and 2,000 N/mm (N/m?)."),
    (r"^motion_ratio = .*", "motion_ratio = 0", "[car.front] motion_ratio is 0; a motion ratio must lie between"),
    (r"^motion_ratio = .*", "motion_ratio = -0.9", "[car.front] motion_ratio is -0.9; a motion ratio"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [[0, 0.9]]", "[car.rear] motion_ratio_table has fewer than two"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = []", "[car.rear] motion_ratio_table has fewer than two rows"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [[0, 0.9], [0, 1]]", "[car.rear] motion_ratio_table must rise"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [[0, 0], [9, 1]]", "[car.rear] motion_ratio_table is 0; a motion"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [[0, 1, 2]]", "[car.rear] motion_ratio_table is a list; it must be"
     " a list of [travel, motion_ratio] pairs."),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [1, 2]", "[car.rear] motion_ratio_table is 1; it must be a list"),
    (r"^motion_ratio_table = .*", "motion_ratio_table = [[0, 1], [9, nan]]", "[car.rear] motion_ratio_table is NaN;"),
    (r"^wheel_rate_rel_u = .*", "wheel_rate_rel_u = 5", "[car.front] wheel_rate_rel_u is 5; a relative uncertainty must"
     " lie between 0 and 1 (per cent?)."),
    (r"^tyre_rate_n_per_mm = 92", "tyre_rate_n_per_mm = 0", "[car.front] tyre_rate_n_per_mm is 0; a tyre rate"),
    (r"^heave_table = .*", "heave_table = [[0, 400], [10, 0]]", "[car.front] heave_table has a force that falls"),
    (r"^heave_table = .*", "heave_table = [[10, 0], [0, 400]]", "[car.front] heave_table must rise in its first column"),
    (r"^ride_height_sensor_x_m = 0.05", "ride_height_sensor_x_m = 50", "[car.front] ride_height_sensor_x_m is 50;"),
    (r"^joint_friction_n = .*", "joint_friction_n = -3", "[car.front] joint_friction_n is -3; the friction of a corner's"),
    (r"^pushrod_ratio = .*", "pushrod_ratio = 0", "[car.front] pushrod_ratio is 0; the load at the wheel over the load in"
     " its rod must lie between 0.05 and 5."),
    (r"^gain_rel_u = .*", "gain_rel_u = 2", "[calibration.pushrod_load_rr] gain_rel_u is 2; a relative uncertainty must lie"
     " between 0 and 1 (per cent?)."),
    (r'^log = "logs/stand.csv"\nfrom_s = 5', "from_s = 5", "[[spin_downs]] 1 log is missing; a spin-down needs its log, such"
     ' as log = "logs/spin1.csv".'),
    (r'^log = "logs/stand.csv"', 'log = "../stand.csv"', "[[spin_downs]] 1 log is '../stand.csv', which leaves the folder"),
    (r"^to_s = 40.5", "to_s = 4", "[[spin_downs]] 1 to_s is 4, not after from_s = 5."),
    (r'^axle = "rear"', 'axle = "left"', "[[axle_loadings]] 1 axle is the text 'left'; the loaded axle must be one of front or"
     " rear."),
    (r'^axle = "rear"', "", "[[axle_loadings]] 1 axle is missing; it says which axle was loaded, front or rear."),
    (r"^mass_kg = 40.0\nmass_u_kg = 0.1", "", "[[axle_loadings]] 1 mass_kg is missing; it says what was put on the axle."),
    (r"^mass_kg = 40.0", "mass_kg = 40000", "[[axle_loadings]] 1 mass_kg is 40000; the mass put on must lie between 1 and"
     " 2,000 kg (grams?)."),
    (r"^share = .*", "share = 98", "[[axle_loadings]] 1 share is 98; the part of the mass on the axle must lie between 0.05"
     " and 3 (per cent?)."),
    (r'^log = "logs/stand.csv"\nbare', "bare", "[[axle_loadings]] 1 log is missing; an axle loading needs its log"),
    (r"^bare_from_s = .*", "", "[[axle_loadings]] 1 bare_from_s is missing."),
    (r"^bare_to_s = .*", "bare_to_s = 60", "[[axle_loadings]] 1 bare_to_s is 60, not after bare_from_s = 60."),
    (r"^loaded_to_s = .*", "loaded_to_s = inf", "[[axle_loadings]] 1 loaded_to_s is Infinity; it must be a finite number."),
    (r"^loaded_from_s = .*", "loaded_from_s = 69", "[[axle_loadings]] 1 loaded_from_s to loaded_to_s is 69 to 100.5 s and"
     " meets the bare window, 60 to 70 s; the car is either bare or loaded."),
    (r"^gain = .*", "gain = 0", "[calibration.damper_fl] gain is 0; a sensor with no gain tells nothing."),
    (r"^gain = .*", "gain = inf", "[calibration.damper_fl] gain is Infinity; it must be a finite number."),
    (r"^gain = .*\noffset = .*", "", "[calibration.damper_fl] gives neither gain, offset nor table."),
    (r"^table = .*", "table = [[4, 0], [0, 9]]", "[calibration.pushrod_load_rr] table must rise in its first column"),
    (r"^unit = \"N\"", "unit = 3", "[calibration.pushrod_load_rr] unit is 3; it must be text in quotes."),
    (r"^heading_deg = .*", "heading_deg = 400", "[venue] heading_deg is 400; a heading must lie between 0 and 360 °."),
    (r"^heading_deg = .*", "heading_deg = -10", "[venue] heading_deg is -10; a heading"),
    (r"^length_m = .*", "length_m = 1.2", "[venue] length_m is 1.2; the length of the straight must lie between 20 and"
     " 20,000 m (kilometres?)."),
    (r"^grade = .*", "grade = 0.5", "[venue] grade is 0.5; a grade, rise over run, must lie between −0.1 and 0.1 (per"
     " cent?)."),
    (r"^altitude_m = .*", "altitude_m = 9000", "[venue] altitude_m is 9000; the altitude of the venue must lie between −430"
     " and 5,000 m (feet?)."),
    (r"^elevation = .*", "elevation = 3", "[venue] elevation is 3; it must be text in quotes."),
    (r"^elevation = .*", 'elevation = "survey/elevations.csv"', "[venue] elevation is 'survey/elevations.csv'; the folder"
     " has no such file (there is 'elevation.csv')."),
    (r"^elevation = .*", 'elevation = "../elevation.csv"', "[venue] elevation is '../elevation.csv', which leaves the"),
    (r"^pressure_hpa = 1009.0", "pressure_hpa = 29.92", "[[weather]] 1 pressure_hpa is 29.92; a station's pressure must lie"
     " between 500 and 1,100 hPa (inches of mercury?)."),
    (r"^pressure_hpa = 1009.0", "pressure_hpa = 1.009", "500 and 1,100 hPa (bar?)."),
    (r"^pressure_hpa = 1009.0", "pressure_hpa = 100.9", "500 and 1,100 hPa (kPa?)."),
    (r"^pressure_hpa = 1009.0", "pressure_hpa = 100900", "500 and 1,100 hPa (Pa?)."),
    (r"^pressure_hpa = 1009.0", "pressure_hpa = 14.7", "500 and 1,100 hPa (pounds per square inch?)."),
    (r"^temperature_c = 17.0", "temperature_c = 300", "[[weather]] 1 temperature_c is 300; an air temperature must lie"
     " between −40 and 60 °C (kelvin?)."),
    (r"^temperature_c = 19.5", "temperature_c = 67", "[[weather]] 2 temperature_c is 67; an air temperature must lie"
     " between −40 and 60 °C (fahrenheit?)."),
    (r"^humidity_pct = 55.0", "humidity_pct = 155", "[[weather]] 1 humidity_pct is 155; a relative humidity must lie"),
    (r"^humidity_pct = 55.0", "humidity_pct = -5", "[[weather]] 1 humidity_pct is -5; a relative humidity"),
    (r"^wind_speed_mps = 1.2", "wind_speed_mps = -1", "[[weather]] 1 wind_speed_mps is -1; a wind speed must lie"),
    (r"^wind_speed_mps = 1.2", "wind_speed_mps = 55", "0 and 40 m/s (km/h?)."),
    (r"^wind_from_deg = .*", "wind_from_deg = 361", "[[weather]] 1 wind_from_deg is 361; the direction the wind comes"),
    (r"^gust_mps = .*", "gust_mps = -2", "[[weather]] 1 gust_mps is -2; a gust must lie between 0 and 60 m/s."),
    (r"^declination_deg = .*", "declination_deg = 200", "[[weather]] 2 declination_deg is 200; a magnetic declination"),
    (r"^declination_deg = .*", "", "[[weather]] 2 declination_deg is missing; a magnetic direction needs it (east"
     " positive)."),
    (r"^declination_deg = .*", "declination_deg = 3\nwind_from_deg = 2", "[[weather]] 2 wind_from_magnetic_deg is given"
     " beside wind_from_deg; give one."),
    (r'^time = "10:30"', 'time = "half past ten"', "[[weather]] 2 time is the text 'half past ten'; it must be a clock time"
     " such as 09:30 or 09:30:00."),
    (r'^time = "10:30"', 'time = "25:00"', "[[weather]] 2 time is the text '25:00'; it must be a clock time"),
    (r'^time = "10:30"', 'time = "10:60"', "[[weather]] 2 time is the text '10:60'; it must be a clock time"),
    (r'^time = "10:30"', "time = 10.5", "[[weather]] 2 time is 10.5; it must be a clock time"),
    (r'^time = "10:30"', "time = 2026-05-09T10:30:00", "[[weather]] 2 time is 2026-05-09T10:30:00; it must be a clock"),
    (r'^time = "10:30"', "time = 09:00:00", "[[weather]] 2 time is that of another reading."),
    (r'^time = "10:30"', "", "[[weather]] 2 time is missing; where there are several readings each needs its time."),
    (r"^front_ride_height_mm = 34.0", "front_ride_height_mm = 0.034", "[[setups]] A front_ride_height_mm is 0.034; a ride"
     " height must lie between 1 and 300 mm (metres?)."),
    (r"^rear_ride_height_mm = 38.0", "rear_ride_height_mm = -3", "[[setups]] A rear_ride_height_mm is -3; a ride height"),
    (r"^scz_front_m2 = .*", "scz_front_m2 = 100", "[[setups]] B scz_front_m2 is 100; a downforce area must lie"),
    (r"^parts = .*", "parts = { nose = nan }", "[[setups]] B parts nose is NaN; it must be a finite number."),
    (r"^parts = .*", "parts = { nose = [1] }", "nose is a list; it must be text, a number, true or false."),
    (r"^parts = .*", "parts = 3", "[[setups]] B parts is a number; it must be a table written as parts = { … }."),
    (r'^name = "B"', 'name = "A"', "[[setups]] A name is 'A', which another setup has already."),
    (r'^name = "B"', 'name = " "', "name is missing; a setup needs one."),
    (r'^name = "B"', "name = 2", "[[setups]] 2 name is 2; it must be text in quotes."),
    (r'^baseline = "A"', 'baseline = "C"', "[[setups]] B baseline is 'C'; no [[setups]] has that name."),
    (r'^baseline = "A"', 'baseline = "a"', "[[setups]] B baseline is 'a'; no [[setups]] has that name."),
    (r'^baseline = "A"', 'baseline = "B"', "[[setups]] B baseline leads back to the setup itself (B → B)."),
    (r'^setup = "B"', 'setup = "Z"', "[[runs]] 4 setup is 'Z'; no [[setups]] has that name (there is A or B)."),
    (r'^setup = "B"', "", "[[runs]] 4 setup is missing; there is A or B."),
    (r"^number = 4", "number = 3", "[[runs]] 3 number is 3, which another run has already."),
    (r"^number = 4", "number = 0", "[[runs]] 0 number is 0; a run's number must lie between 1 and 1,000,000."),
    (r"^number = 4", "number = 4.5", "number is 4.5; it must be a whole number."),
    (r"^number = 4", 'number = "four"', "[[runs]] four number is the text 'four'; it must be a whole number."),
    (r'^log = "logs/run01.csv"', "", "[[runs]] 3 log is missing; a run needs its log"),
    (r'^log = "logs/run01.csv"', 'log = ""', "[[runs]] 3 log is missing; it must name a file in the folder."),
    (r'^log = "logs/run01.csv"', "log = 1", "[[runs]] 3 log is 1; it must be text in quotes."),
    (r'^log = "logs/run01.csv"', 'log = "/etc/passwd"', "[[runs]] 3 log is '/etc/passwd'; it must be a path inside the"),
    (r'^log = "logs/run01.csv"', 'log = "C:/logs/run01.csv"', "[[runs]] 3 log is 'C:/logs/run01.csv'; it must be a path"),
    (r'^log = "logs/run01.csv"', "log = 'C:\\logs\\run01.csv'", "[[runs]] 3 log is 'C:\\\\logs\\\\run01.csv'; it must"),
    (r'^log = "logs/run01.csv"', "log = '\\\\box\\run01.csv'", "[[runs]] 3 log is '\\\\\\\\box\\\\run01.csv'; it must be"),
    (r'^log = "logs/run01.csv"', 'log = "../run01.csv"', "[[runs]] 3 log is '../run01.csv', which leaves the folder"),
    (r'^log = "logs/run01.csv"', 'log = "logs/../../x.csv"', "[[runs]] 3 log is 'logs/../../x.csv', which leaves the"),
    (r'^log = "logs/run01.csv"', "log = '..\\run01.csv'", "[[runs]] 3 log is '..\\\\run01.csv', which leaves the"),
    (r'^log = "logs/run01.csv"', 'log = "a.csv"\nlogs = ["b.csv"]', "[[runs]] 3 log is given beside logs; give one"),
    (r"^logs = .*", "logs = []", "[[runs]] 4 logs is an empty list; a run needs its log."),
    (r"^logs = .*", "logs = [{ clock_offset_s = 1 }]", "[[runs]] 4 logs 1 file is missing"),
    (r"^logs = .*", 'logs = ["a.csv", { file = "../b.csv" }]', "[[runs]] 4 logs 2 file is '../b.csv', which leaves"),
    (r"^logs = .*", 'logs = [{ file = "a.csv", from_s = nan }]', "[[runs]] 4 logs 1 from_s is NaN; it must be a finite"),
    (r"^logs = .*", 'logs = [{ file = "a.csv", from_s = 9, to_s = 2 }]', "[[runs]] 4 logs 1 to_s is 2, not after from_s"),
    (r"^logs = .*", "logs = [3]", "[[runs]] 4 logs is 3; it must be a list of"),
    (r"^to_s = .*", "to_s = 5", "[[runs]] 3 to_s is 5, not after from_s = 10."),
    (r"^clock_offset_s = .*", 'clock_offset_s = "1 s"', "[[runs]] 3 clock_offset_s is the text '1 s'; it must be a number."),
    (r"^start = 09:09:00", 'start = "nine"', "[[runs]] 3 start is the text 'nine'; it must be a clock time"),
    (r"^driver_mass_kg = 72.0", "driver_mass_kg = 720", "[[runs]] 3 driver_mass_kg is 720; a driver's mass must lie"),
    (r'^coasting = "neutral"', 'coasting = "free"', "[[runs]] 3 coasting is the text 'free'; the way of coasting must be one"
     " of neutral, clutch, inverter-off, zero-torque, in-gear or unknown."),
    (r'^direction = "out"', 'direction = "north"', "[[runs]] 3 direction is the text 'north'; a direction must be one of out"
     " or back."),
    (r"^start_s = 101.2", "", "[[runs.passes]] 1 of [[runs]] 3 start_s is missing."),
    (r"^end_s = 118.9", "end_s = 90", "[[runs.passes]] 1 of [[runs]] 3 end_s is 90, not after start_s = 101.2."),
    (r"^end_s = 118.9", "end_s = inf", "[[runs.passes]] 1 of [[runs]] 3 end_s is Infinity; it must be a finite number."),
    (r"^used = false", 'used = "no"', "[[runs.passes]] 1 of [[runs]] 3 used is the text 'no'; it must be true or false."),
    (r'^reason = "traffic"', "reason = 3", "[[runs.passes]] 1 of [[runs]] 3 reason is 3; it must be text in quotes."),
    (r'^gps_speed = "v_gnss"', "gps_speed = 4", "[[runs]] 3 [runs.channels] gps_speed is 4; it must be text in quotes."),
    (r'^time = "time"', 'time = ""', "[channels] time is empty; it must name a column of the log."),
    (r"^format = 1", "format = 2", "format is 2; this program reads format 1, a newer one wrote the folder."),
    (r"^format = 1", 'format = "1"', "format is the text '1'; it must be a whole number."),
    (r"^format = 1", "format = 0", "format is 0; the format must lie between 1 and"),
    (r"^name = .*", "name = 3", "name is 3; it must be text in quotes."),
    (r"^date = .*", 'date = "9 May"', "date is the text '9 May'; it must be a date such as 2026-05-09."),
    (r"^date = .*", "date = 2026-05-09T09:00:00", "date is 2026-05-09T09:00:00; it must be a date such as"),
    (r"^timezone = .*", 'timezone = "Europe/Lisboa"', "timezone is 'Europe/Lisboa', which is no time zone such as"
     ' "Europe/Lisbon"; perhaps Europe/Lisbon was meant.'),
    (r"^timezone = .*", 'timezone = "Europe"', "timezone is 'Europe', which is no time zone"),
    (r"^timezone = .*", 'timezone = "/etc/localtime"', "timezone is '/etc/localtime', which is no time zone"),
    (r"^reference_speed_mps = .*", "reference_speed_mps = 0", "reference_speed_mps is 0; the reference speed must lie"),
    (r"^reference_speed_mps = .*", "reference_speed_mps = 110", "reference_speed_mps is 110; the reference speed must lie"
     " between 5 and 100 m/s (km/h?)."),
]  # fmt: skip


@pytest.mark.parametrize(("pattern", "instead", "said"), IMPOSSIBLE)
def test_what_cannot_be_is_refused(tmp_path: Path, pattern: str, instead: str, said: str) -> None:
    sentence = refusal(tmp_path, full(pattern, instead), FULL_FILES)
    assert sentence.startswith("testday.toml: ")
    assert said in sentence


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("", "testday.toml: [car] is missing; the car's mass_kg is required."),
        (MINIMAL.replace("mass_kg = 236.0", ""), "testday.toml: [car] mass_kg is missing; give the car's mass, or"),
        (MINIMAL.replace("mass_kg", "mass_kgs"), "testday.toml: [car] mass_kg is missing (there is 'mass_kgs'); give"),
        (
            MINIMAL.replace("mass_kg = 236.0", "corner_mass_kg = [70, 70, 80, 80]"),
            "testday.toml: [car] driver_aboard_kg is missing; say how much of corner_mass_kg was the driver.",
        ),
        (
            "[car]\nmass_kg = 236\n[[runs]]\nlog = 'a.csv'",
            "testday.toml: [[weather]] is missing; one reading with pressure_hpa and temperature_c is required.",
        ),
        ("weather = []\n" + MINIMAL.split("[[weather]]")[0], "testday.toml: [[weather]] is empty; one reading"),
        (
            MINIMAL.replace("pressure_hpa = 1009.0", ""),
            "testday.toml: [[weather]] 1 pressure_hpa is missing; one reading with pressure_hpa and temperature_c is",
        ),
        (MINIMAL.replace("temperature_c = 17.0", ""), "testday.toml: [[weather]] 1 temperature_c is missing; one"),
        (MINIMAL.split("[[runs]]")[0], "testday.toml: [[runs]] is missing; a day needs one run with its log."),
        ("runs = []\n" + MINIMAL.split("[[runs]]")[0], "testday.toml: [[runs]] is missing; a day needs one run"),
        (MINIMAL.split("log =")[0], "testday.toml: [[runs]] 1 log is missing; a run needs its log"),
        (MINIMAL.replace("[[runs]]", "[runs]"), "testday.toml: runs is a table; it must be tables, each written as"
         " [[runs]]."),
        (MINIMAL + '[setups]\nname = "A"\n', "testday.toml: setups is a table; it must be tables, each written as"),
        (MINIMAL.replace("[car]", "[[car]]"), "testday.toml: car is a list; it must be a table written as [car]."),
        ("venue = 3\n" + MINIMAL, "testday.toml: venue is a number; it must be a table written as [venue]."),
        ("channels = 'x'\n" + MINIMAL, "testday.toml: channels is a text; it must be a table written as [channels]."),
        ("calibration = 1\n" + MINIMAL, "testday.toml: calibration is a number; it must be a table written as"),
        ("calibration.damper_fl = 1\n" + MINIMAL, "testday.toml: [calibration.…] damper_fl is a number; it must be a"
         " table written as [calibration.damper_fl]."),
        ("weather = 3\n" + MINIMAL.replace("[[weather]]", "[other]"), "testday.toml: weather is a number; it must be"
         " tables, each written as [[weather]]."),
        (MINIMAL.replace("[car]", "[car]\nfront = 3"), "testday.toml: [car] front is a number; it must be a table written"
         " as [car.front]."),
        (MINIMAL + "passes = 3\n", "testday.toml: [[runs]] 1 passes is a number; it must be tables, each written as"
         " [[runs.passes]]."),
    ],
)  # fmt: skip
def test_what_is_missing_or_of_another_kind_is_refused(tmp_path: Path, toml: str, said: str) -> None:
    assert said in refusal(tmp_path, toml)


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("[car]\nmass_kg = \n", "testday.toml: line 2, column 11 is not readable as TOML: "),
        ("[car]\nmass_kg = 236,5\n", "testday.toml: line 2, column 14 is not readable as TOML: "),
        ("[car]\nname = Car 7\n", "testday.toml: line 2, column 8 is not readable as TOML: "),
        ("[car]\nmass_kg = 1\nmass_kg = 2\n", "testday.toml: line 3, column 12 is not readable as TOML: cannot overwrite"),
        ("[car]\nmass_kg = 1\nmass_kg = 2", "testday.toml: line 3, column 11 (the end) is not readable as TOML: cannot"),
        ('[car]\nname = "Car\n', "testday.toml: line 2, column 12 is not readable as TOML: "),
        ("x = " + "[" * 5000, "testday.toml: is not readable as TOML; a number or a nesting is too long."),
        ("x = " + "9" * 5000, "testday.toml: is not readable as TOML; a number or a nesting is too long."),
    ],
)  # fmt: skip
def test_toml_that_cannot_be_read_says_line_and_column(tmp_path: Path, toml: str, said: str) -> None:
    assert said in refusal(tmp_path, toml)


def test_a_circle_of_baselines_is_shown(tmp_path: Path) -> None:
    setups = '[[setups]]\nname = "A"\nbaseline = "B"\n[[setups]]\nname = "B"\nbaseline = "C"\n'
    setups += '[[setups]]\nname = "C"\nbaseline = "A"\n'
    sentence = refusal(tmp_path, MINIMAL + 'setup = "A"\n' + setups)
    assert sentence == "testday.toml: [[setups]] A baseline leads back to the setup itself (A → B → C → A)."


def test_a_chain_into_a_circle_is_refused_once(tmp_path: Path) -> None:
    setups = '[[setups]]\nname = "A"\nbaseline = "B"\n[[setups]]\nname = "B"\nbaseline = "B"\n'
    sentence = refusal(tmp_path, MINIMAL + 'setup = "A"\n' + setups)
    assert sentence == "testday.toml: [[setups]] B baseline leads back to the setup itself (B → B)."


CSV_REFUSALS = [
    ("survey/elevation.csv", ELEVATION.replace("41.2", "x"), "line 3 elevation_m is the text 'x'; it must be a number."),
    ("survey/elevation.csv", ELEVATION.replace("41.2", "nan"), "line 3 elevation_m is NaN; it must be a finite number."),
    ("survey/elevation.csv", ELEVATION.replace("41.2", ""), "line 3 elevation_m is missing."),
    ("survey/elevation.csv", ELEVATION.replace("600", "0"), "line 3 distance_m does not rise from the line before."),
    ("survey/elevation.csv", ELEVATION.replace("41.2", "412"), "line 3 elevation_m makes a slope of more than 20%;"),
    ("survey/elevation.csv", "distance_m,elevation_m\n0,1\n", "has fewer than two points"),
    ("survey/elevation.csv", "distance_m,distance_m\n0,1\n1,1\n", "line 1 names the column distance_m twice."),
    ("survey/elevation.csv", "distance_m,elevation_m\n0,1,5\n1,1\n", "line 2 has 3 cells and the name row 2."),
    ("survey/elevation.csv", "distance,height\n0,1\n9,1\n", "line 2 distance_m is missing"),
    ("survey/elevation.csv", "", "has fewer than two points"),
    ("predictions.csv", PREDICTIONS.replace("1.42", "1.42 m2"), "line 2 scx_m2 is the text '1.42 m2'; it must be a"),
    ("predictions.csv", PREDICTIONS.replace("1.42", "inf"), "line 2 scx_m2 is Infinity; it must be a finite number."),
    ("predictions.csv", PREDICTIONS.replace("1.42", "142"), "line 2 scx_m2 is 142; a drag area must lie between"),
    ("predictions.csv", PREDICTIONS.replace("0.02,", "-0.02,"), "line 2 scx_u_m2 is -0.02; a standard uncertainty must"),
    ("predictions.csv", PREDICTIONS.replace("\nA,", "\n,"), "line 2 setup is missing; a predicted case belongs to one."),
    ("predictions.csv", PREDICTIONS.replace("A, 34", "A, 0.034"), "line 2 front_ride_height_mm is 0.034; a ride height"),
    ("predictions.csv", PREDICTIONS.replace(" 3, 22", " 300, 22"), "line 3 yaw_deg is 300; a yaw angle must lie between"),
    ("predictions.csv", PREDICTIONS.replace(" 3, 22", " 3, 200"), "line 3 speed_mps is 200; a speed must lie between 1 and"),
    ("predictions.csv", "setup,scx_u_m2\nA,0.1\n", "line 2 scx_u_m2 is given without scx_m2."),
    ("predictions.csv", "setup,speed_mps\nA,22\n", "line 2 scx_m2 is missing; a case gives one of scx_m2"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "text", "said"), CSV_REFUSALS)
def test_csv_files_name_file_line_and_column(tmp_path: Path, file: str, text: str, said: str) -> None:
    sentence = refusal(tmp_path, FULL, {**FULL_FILES, file: text})
    assert sentence.startswith(f"{file}: {said}")


WEATHER = 'weather = "weather.csv"\n' + MINIMAL.replace("[[weather]]", "[other]")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time,pressure_hpa,temperature_c\n", "weather.csv: holds no reading; one reading with pressure_hpa and"),
        ("time,pressure_hpa,temperature_c\n9:00,29.92,17\n", "weather.csv: line 2 pressure_hpa is 29.92; a station's"),
        ("time,pressure_hpa\n9:00,1009\n", "weather.csv: line 2 temperature_c is missing; one reading with"),
        ("time,pressure_hpa,temperature_c\n9h,1009,17\n", "weather.csv: line 2 time is the text '9h'; it must be a clock"),
        (
            "time,pressure_hpa,temperature_c\n9:00,1009,17\n9:00,1009,17\n",
            "weather.csv: line 3 time is that of another reading.",
        ),
        ('time,pressure_hpa\n9:00,"1009\n', "weather.csv: line 2 "),
    ],
)  # fmt: skip
def test_weather_file(tmp_path: Path, text: str, said: str) -> None:
    assert refusal(tmp_path, WEATHER, {"weather.csv": text}).startswith(said)


def test_weather_file_that_is_not_there(tmp_path: Path) -> None:
    sentence = refusal(tmp_path, WEATHER, {"Weather.CSV": ""})
    assert (
        sentence
        == "testday.toml: weather is 'weather.csv'; the folder has no such file (there is 'Weather.CSV')."
    )


def test_a_log_reached_by_a_link_that_leaves_the_folder_is_refused(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "run01.csv").write_text("t,v\n")
    (folder / "logs").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(
        DayFolderError, match=r"^testday.toml: \[\[runs\]\] 1 log is 'logs/run01.csv', which leaves"
    ):
        read_folder(folder)


def test_a_link_inside_the_folder_is_fine(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL, {"raw/run01.csv": "t,v\n"})
    (folder / "logs").symlink_to(folder / "raw")
    (tmp_path / "linked day").symlink_to(folder)
    assert read_folder(tmp_path / "linked day").runs[0].logs[0].file == "logs/run01.csv"


def test_a_circle_of_links_is_refused(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL)
    (folder / "logs").symlink_to(folder / "logs")
    with pytest.raises(DayFolderError, match=r"^testday.toml: \[\[runs\]\] 1 log "):
        read_folder(folder)


@pytest.mark.parametrize("name", ["predictions.csv", "testday.toml"])
def test_files_read_by_their_name_must_not_be_links_out_either(tmp_path: Path, name: str) -> None:
    folder = make(tmp_path / "day", MINIMAL)
    outside = tmp_path / name
    outside.write_text(MINIMAL)
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(outside)
    with pytest.raises(DayFolderError, match=rf"{name} .*which leaves the folder"):
        read_folder(folder)


def test_no_folder_and_no_day_in_it(tmp_path: Path) -> None:
    with pytest.raises(
        DayFolderError, match=r"no day here: is no folder; a test day is a folder with a testday.toml"
    ):
        read_folder(tmp_path / "no day here")
    with pytest.raises(DayFolderError, match=r"^testday.toml: is missing in the folder "):
        read_folder(tmp_path)


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_another_encoding_is_named_with_its_line(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "testday.toml").write_bytes(MINIMAL.replace("[car]", '[car]\nname = "Fünf"').encode(encoding))
    with pytest.raises(
        DayFolderError, match=r"^testday.toml: line \d is not UTF-8 text; save the file as UTF-8\.$"
    ):
        read_folder(tmp_path)


def test_a_file_that_cannot_be_read_says_so(tmp_path: Path) -> None:
    make(tmp_path, WEATHER, {"weather.csv/inner": ""})
    with pytest.raises(DayFolderError, match=r"weather is 'weather.csv'; the folder has no such file"):
        read_folder(tmp_path)
