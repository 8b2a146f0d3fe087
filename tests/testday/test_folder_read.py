"""Every key of a day folder, read into SI."""

import datetime as dt
import math
import re
from pathlib import Path

import pytest

from server.testday.folder import read_folder
from server.testday.values import (
    Calibration,
    Day,
    LogFile,
    PassEdit,
    PredictionCase,
    Quantity,
    Setup,
)
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, make, read

KEYS_OF_THE_FORMAT = """
format name date timezone reference_speed_mps notes heading_deg length_m grade grade_u elevation
altitude_m mass_kg corner_mass_kg driver_aboard_kg mass_u_kg wheelbase_m front_weight cg_height_m
cg_height_u_m driveline_drag_n driveline_drag_u_n driveline_drag_n_per_mps
driveline_drag_u_n_per_mps rolling_c0 rolling_c0_u rolling_c1_s_per_m rolling_c1_u_s_per_m driven
anti_squat axle_inertia_kgm2 axle_inertia_rel_u tyre_radius_m spring_rate_n_per_mm motion_ratio
motion_ratio_table wheel_rate_rel_u tyre_rate_n_per_mm heave_table ride_height_sensor_x_m gain
offset table unit time pressure_hpa temperature_c humidity_pct wind_speed_mps wind_from_deg
wind_from_magnetic_deg declination_deg baseline front_ride_height_mm rear_ride_height_mm parts
scz_front_m2 scz_front_u_m2 number setup log logs file clock_offset_s from_s to_s start
driver_mass_kg coasting direction start_s end_s used reason gps_speed
ride_height_sensor_x_u_m joint_friction_n joint_friction_u_n pushrod_ratio pushrod_ratio_u gain_rel_u
axle share share_u bare_from_s bare_to_s loaded_from_s loaded_to_s
"""


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Day:
    return read(tmp_path_factory.mktemp("days") / "full", FULL, FULL_FILES)


def test_the_full_folder_has_every_key_and_all_are_known(day: Day) -> None:
    missing = [key for key in KEYS_OF_THE_FORMAT.split() if not re.search(rf"\b{key} = ", FULL)]
    assert missing == []
    assert day.findings == ()


def test_day(day: Day) -> None:
    assert day.name == "Long apron, first outing"
    assert day.date == dt.date(2026, 5, 9)
    assert day.timezone == "Europe/Lisbon"
    assert day.reference_speed_mps == 21.5
    assert day.notes == "Dry, a little dust."
    assert day.channels == {"time": "time", "gps_speed": "gps_speed"}


def test_venue(day: Day) -> None:
    venue = day.venue
    assert venue.name == "long apron"
    assert venue.heading_rad == math.radians(82.0)
    assert (venue.length_m, venue.altitude_m) == (1200.0, 40.0)
    assert venue.grade == Quantity(0.0015, 0.0002)
    assert venue.elevation == ((0.0, 40.0), (600.0, 41.2), (1200.0, 41.8))


def test_car(day: Day) -> None:
    car = day.car
    assert car.name == "Car 7"
    assert car.mass_kg == Quantity(236.0, 0.4)
    assert car.corner_mass_kg == (73.15, 73.15, 80.85, 80.85)
    assert car.wheelbase_m == Quantity(1.54, 0.002)
    assert car.front_weight == Quantity(0.475, 0.004)
    assert car.cg_height_m == Quantity(0.285, 0.01)
    assert car.driveline_drag_n == Quantity(6.0, 1.5)
    assert car.driveline_drag_n_per_mps == Quantity(0.35, 0.1)
    assert car.rolling_c0 == Quantity(0.02, 0.002)
    assert car.rolling_c1_s_per_m == Quantity(0.00012, 0.00004)
    assert car.anti_squat == Quantity(0.2, 0.06)
    assert car.driven == "all"


def test_axles(day: Day) -> None:
    front, rear = day.car.front, day.car.rear
    assert front.axle_inertia_kgm2 == Quantity(0.42, pytest.approx(0.063))
    assert rear.axle_inertia_kgm2 == Quantity(0.55, 0.05)
    assert front.tyre_radius_m == Quantity(0.2298, 0.0008)
    assert rear.tyre_radius_m == Quantity(0.231, pytest.approx(0.000924))
    assert front.spring_rate_n_per_m == Quantity(39_000.0, 500.0)
    assert rear.spring_rate_n_per_m == Quantity(44_000.0, 440.0)
    assert front.motion_ratio == Quantity(0.92, 0.01)
    assert rear.motion_ratio is None
    assert rear.motion_ratio_table == ((-0.02, 0.9), (0.0, 0.95), (0.0255, 1.02))
    assert (front.wheel_rate_rel_u, rear.wheel_rate_rel_u) == (0.01, None)
    assert front.tyre_rate_n_per_m == Quantity(92_000.0, 6000.0)
    assert rear.tyre_rate_n_per_m == Quantity(95_000.0, 9500.0)
    assert front.heave_table == ((0.0, 0.0), (0.01, 400.0))
    assert rear.heave_table == ()
    assert front.ride_height_sensor_x_m == Quantity(0.05, 0.002)
    assert rear.ride_height_sensor_x_m == Quantity(-0.1, 0.01)
    assert front.joint_friction_n == Quantity(12.0, 5.0)
    assert rear.joint_friction_n == Quantity(20.0, 15.0, "default")
    assert (front.pushrod_ratio, rear.pushrod_ratio) == (Quantity(0.8, 0.01), None)


def test_calibrations(day: Day) -> None:
    assert day.car.calibration == {
        "damper_fl": Calibration(gain=25.0, offset=-3.5, unit="mm/V"),
        "pushrod_load_rr": Calibration(table=((0.5, 0.0), (4.5, 2000.0)), unit="N", gain_rel_u=0.02),
    }


def test_weather(day: Day) -> None:
    first, second = day.weather
    assert (first.clock_s, second.clock_s) == (9 * 3600.0, 10.5 * 3600.0)
    assert first.pressure_pa == Quantity(100_900.0, 50.0)
    assert first.temperature_k == Quantity(290.15, 0.3)
    assert first.humidity == Quantity(0.55, 0.04)
    assert first.wind_speed_mps == Quantity(1.2, 0.2)
    assert first.wind_from_rad == Quantity(math.radians(250), math.radians(10))
    assert (first.gust_mps, second.gust_mps) == (2.9, None)
    assert second.pressure_pa == Quantity(100_840.0, 100.0)
    assert second.temperature_k == Quantity(292.65, 1.0)
    assert second.humidity == Quantity(0.5, 0.1)
    assert second.wind_speed_mps == Quantity(4.0, 0.6)


def test_magnetic_wind_and_declination_make_true_wind(day: Day) -> None:
    wind = day.weather[1].wind_from_rad
    assert wind is not None
    assert math.degrees(wind.value) == pytest.approx(5.5, abs=1e-12)  # 358° + 7.5° round north
    assert math.degrees(wind.u) == pytest.approx(15.0)


def test_setups(day: Day) -> None:
    assert day.setups[0] == Setup("A", None, 0.034, 0.038)
    assert day.setups[1] == Setup(
        name="B",
        baseline="A",
        front_ride_height_m=0.0305,
        rear_ride_height_m=0.038,
        parts={"rear_flap_deg": 30.0, "gurney": True, "nose": "n2"},
        scz_front_m2=Quantity(1.6, 0.2),
        scz_rear_m2=Quantity(2.0, 0.3),
        notes="Rear flap up.",
    )


def test_runs(day: Day) -> None:
    first, second = day.runs
    assert (first.number, second.number) == (3, 4)
    assert (first.setup, second.setup) == ("A", "B")
    assert first.logs == (LogFile("logs/run01.csv", 0.25, 10.0, 300.5),)
    assert second.logs == (LogFile("logs/run02.csv"), LogFile("logs/box02.csv", -1.5, 2.0, 9.0, "bus/box.dbc"))
    assert (first.start_clock_s, second.start_clock_s) == (9 * 3600 + 540.0, 9 * 3600 + 1290.25)
    assert first.driver_mass_kg == Quantity(72.0, 0.4)
    assert second.driver_mass_kg == Quantity(72.0, 1.0)
    assert (first.coasting, second.coasting) == ("neutral", "inverter-off")
    assert (first.direction, second.direction) == ("out", "back")
    assert first.passes == (PassEdit(101.2, 118.9, False, "traffic"), PassEdit(140.0, 155.0))
    assert first.channels == {"gps_speed": "v_gnss"}
    assert first.notes == "first"
    assert first.recordings == ()


def test_stand_tests(day: Day) -> None:
    (spin_down,) = day.spin_downs
    assert spin_down.log == LogFile("logs/stand.csv", from_s=5.0, to_s=40.5)
    assert (spin_down.channels, spin_down.notes) == ({"wheel_speed_rl": "RL"}, "third gear out")
    (loading,) = day.axle_loadings
    assert (loading.axle, loading.log) == ("rear", LogFile("logs/stand.csv"))
    assert (loading.mass_kg, loading.share) == (Quantity(40.0, 0.1), Quantity(0.98, 0.02))
    assert (loading.bare_s, loading.loaded_s) == ((60.0, 70.0), (90.0, 100.5))
    assert loading.channels == {"damper_rl": "pot RL"}
    assert (spin_down.recording, loading.recording) == (None, None)


def test_a_calibration_may_state_its_slopes_u_alone(tmp_path: Path) -> None:
    day = read(tmp_path, MINIMAL + "[calibration.damper_fl]\ngain_rel_u = 0.03\n")
    assert day.car.calibration == {"damper_fl": Calibration(gain_rel_u=0.03)}


def test_predictions(day: Day) -> None:
    assert day.predictions == (
        PredictionCase(
            setup="A",
            front_ride_height_m=0.034,
            rear_ride_height_m=0.038,
            speed_mps=22.0,
            scx_m2=Quantity(1.42, 0.02, "predicted"),
            scz_front_m2=Quantity(1.5, 0.03, "predicted"),
            scz_rear_m2=Quantity(1.9, 0.04, "predicted"),
            source="mesh m3",
        ),
        PredictionCase(
            setup="B",
            front_ride_height_m=0.0305,
            rear_ride_height_m=0.038,
            yaw_rad=math.radians(3),
            speed_mps=22.0,
            scx_m2=Quantity(0.21, 0.0, "predicted"),
            scz_rear_m2=Quantity(1.1, 0.0, "predicted"),
            part="rear wing",
            source="mesh m3",
        ),
    )


def test_corner_masses_alone_give_mass_and_front_weight(tmp_path) -> None:
    toml = MINIMAL.replace(
        "mass_kg = 236.0", "corner_mass_kg = [73.15, 73.15, 80.85, 80.85]\ndriver_aboard_kg = 72"
    )
    car = read(tmp_path, toml).car
    assert car.mass_kg.value == pytest.approx(236.0)
    assert car.mass_kg.u == pytest.approx(math.hypot(0.5, 1.0))  # four wheels at 0.25 kg, the driver at 1 kg
    assert car.mass_kg.source == "typed"
    assert car.front_weight == Quantity(pytest.approx(0.475), 0.005)
    assert car.corner_mass_kg == (73.15, 73.15, 80.85, 80.85)


def test_corner_masses_without_driver_say_less_about_the_front_weight(tmp_path) -> None:
    toml = MINIMAL.replace("mass_kg = 236.0", "corner_mass_kg = [55, 55, 63, 63]\ndriver_aboard_kg = 0")
    car = read(tmp_path, toml).car
    assert car.mass_kg == Quantity(236.0, 0.5)
    assert car.front_weight.u == 0.02


@pytest.mark.parametrize("ending", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark_do_not_matter(tmp_path, ending: str, mark: str) -> None:
    day = read(tmp_path, mark + MINIMAL.replace("\n", ending))
    assert day.car.mass_kg.value == 236.0


def test_the_toml_file_itself_names_the_folder(tmp_path) -> None:
    folder = make(tmp_path / "day", MINIMAL)
    assert read_folder(str(folder / "testday.toml")).name == "day"


def test_numbers_may_be_whole_and_dates_and_clocks_in_quotes(tmp_path) -> None:
    toml = 'date = "2026-05-09"\n' + MINIMAL.replace("236.0", "236") + 'start = "9:09"\n'
    day = read(tmp_path, toml)
    assert day.date == dt.date(2026, 5, 9)
    assert day.runs[0].start_clock_s == 9 * 3600 + 540.0
    assert day.car.mass_kg.value == 236.0


def test_one_plain_weather_table_is_one_reading(tmp_path) -> None:
    assert len(read(tmp_path, MINIMAL.replace("[[weather]]", "[weather]")).weather) == 1


def test_a_log_list_may_name_files_only_and_take_the_runs_cut(tmp_path) -> None:
    toml = MINIMAL.replace(
        'log = "logs/run01.csv"', 'logs = ["a.csv", "logs\\\\b.csv"]\nfrom_s = 5\nto_s = 9'
    )
    assert read(tmp_path, toml).runs[0].logs == (
        LogFile("a.csv", 0.0, 5.0, 9.0),
        LogFile("logs/b.csv", 0.0, 5.0, 9.0),
    )


def test_runs_without_numbers_are_numbered_in_order(tmp_path) -> None:
    day = read(tmp_path, MINIMAL + '[[runs]]\nlog = "logs/run02.csv"\n')
    assert [run.number for run in day.runs] == [1, 2]


def test_a_runs_word_defines_its_setup_where_no_setups_are_listed(tmp_path) -> None:
    day = read(tmp_path, MINIMAL + 'setup = "wing off"\n')
    assert day.setups == (Setup("wing off"),)
    assert day.runs[0].setup == "wing off"


def test_the_only_setup_need_not_be_named(tmp_path) -> None:
    assert read(tmp_path, MINIMAL + '[[setups]]\nname = "low drag"\n').runs[0].setup == "low drag"


def test_tufts_and_other_files_are_left_alone(tmp_path) -> None:
    files = {"tufts.csv": "photo,x\n", "tufts/a.jpg": "", "logs/run01.csv": "", "read me.txt": ""}
    assert read(tmp_path, MINIMAL, files).predictions == ()
