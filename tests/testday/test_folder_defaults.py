"""What a folder does not say: defaults that are wide and named, and the u of a bare number."""

import math

import pytest

from server.testday.defaults import MISSING, TYPED, missing_c1, typed_u
from server.testday.values import Axle, Quantity
from tests.testday.folders import MINIMAL, read, texts

DEFAULTS_OF_THE_CAR = {
    "wheelbase_m": (1.55, 0.05),
    "front_weight": (0.48, 0.03),
    "cg_height_m": (0.29, 0.04),
    "driveline_drag_n": (5.0, 4.0),
    "driveline_drag_n_per_mps": (0.25, 0.20),
    "rolling_c0": (0.018, 0.006),
    "rolling_c1_s_per_m": (0.00018, 0.00009),
    "anti_squat": (0.15, 0.20),
}


def test_mass_air_runs_and_logs_are_enough(tmp_path) -> None:
    day = read(tmp_path / "2026-05-09 long apron", MINIMAL)
    assert day.name == "2026-05-09 long apron"
    assert (day.date, day.timezone, day.reference_speed_mps) == (None, None, 22.0)
    assert day.car.mass_kg == Quantity(236.0, 0.5)
    for name, (value, u) in DEFAULTS_OF_THE_CAR.items():
        taken = getattr(day.car, name)
        assert (taken.value, taken.u) == (pytest.approx(value), pytest.approx(u))
        assert taken.source == "default"
    for axle in (day.car.front, day.car.rear):
        assert axle.axle_inertia_kgm2 == Quantity(0.40, 0.12, "default")
        assert axle.tyre_radius_m == Quantity(0.230, 0.00345, "default")
        assert (axle.spring_rate_n_per_m, axle.motion_ratio, axle.pushrod_ratio) == (None, None, None)
        assert axle.wheel_rate_rel_u is None
        assert axle.tyre_rate_n_per_m == Quantity(90_000.0, 20_000.0, "default")
        assert axle.ride_height_sensor_x_m == Quantity(0.0, 0.05, "default")
        assert axle.joint_friction_n == Quantity(20.0, 15.0, "default")
    (reading,) = day.weather
    assert reading.clock_s is None
    assert reading.humidity == Quantity(0.5, 0.2, "default")
    assert (reading.wind_speed_mps, reading.wind_from_rad) == (None, None)
    (run,) = day.runs
    assert run.driver_mass_kg == Quantity(75.0, 10.0, "default")
    assert (run.number, run.setup, run.coasting, run.direction) == (1, "A", "unknown", None)
    (setup,) = day.setups
    assert (setup.scz_front_m2, setup.scz_rear_m2) == (None, None)


@pytest.mark.parametrize(
    "said",
    [
        "testday.toml: [car] wheelbase_m is not given; 1.55 ± 0.05 m",
        "testday.toml: [car] front_weight is not given; 0.48 ± 0.03",
        "testday.toml: [car] cg_height_m is not given; 0.29 ± 0.04 m",
        "testday.toml: [car] driveline_drag_n is not given; 5 ± 4 N",
        "testday.toml: [car] driveline_drag_n_per_mps is not given; 0.25 ± 0.2 N/(m/s)",
        "testday.toml: [car] rolling_c0 is not given; 0.018 ± 0.006",
        "testday.toml: [car] rolling_c1_s_per_m is not given; 0.00018 ± 9e-05 s/m",
        "testday.toml: [car] driven is not given; rear is taken.",
        "testday.toml: [car.front] axle_inertia_kgm2 is not given; 0.4 ± 0.12 kg m²",
        "testday.toml: [car.rear] tyre_radius_m is not given; 0.23 ± 0.00345 m",
        "testday.toml: [[weather]] 1 humidity_pct is not given; 50 ± 20 %",
        "testday.toml: [[runs]] driver_mass_kg is not given for run 1; 75 ± 10 kg",
    ],
)
def test_each_default_is_said_with_value_and_u(tmp_path, said: str) -> None:
    tail = " (one standard uncertainty) is used." if "±" in said else ""
    assert said + tail in texts(read(tmp_path, MINIMAL), "default-used")


def test_a_default_driver_is_said_once_for_all_runs(tmp_path) -> None:
    toml = MINIMAL + '[[runs]]\nlog = "b.csv"\ndriver_mass_kg = 80\n[[runs]]\nlog = "c.csv"\n'
    (said,) = [text for text in texts(read(tmp_path, toml), "default-used") if "driver" in text]
    assert "for runs 1 and 3;" in said


def test_default_c1_follows_a_typed_c0(tmp_path) -> None:
    car = read(tmp_path, MINIMAL.replace("[car]", "[car]\nrolling_c0 = 0.03")).car
    assert car.rolling_c0 == Quantity(0.03, 0.0045)
    assert car.rolling_c1_s_per_m == Quantity(pytest.approx(0.0003), pytest.approx(0.00015), "default")


def test_default_ratio_of_c1_is_that_of_the_published_tyre() -> None:
    """40 CFR 1037.528, SAE J2452 example: +23 % from 21 to 104 km/h."""
    c0 = 0.018
    c1 = missing_c1(Quantity(c0)).value
    slow, fast = (c0 + c1 * speed / 3.6 for speed in (21.0, 104.0))
    assert fast / slow == pytest.approx(1.23, abs=0.02)


@pytest.mark.parametrize(
    ("table", "line", "attribute", "u"),
    [
        ("[car]", "wheelbase_m = 1.6", "car.wheelbase_m", 0.005),
        ("[car]", "cg_height_m = 0.3", "car.cg_height_m", 0.020),
        ("[car]", "driveline_drag_n = 10", "car.driveline_drag_n", 3.0),
        ("[car]", "driveline_drag_n_per_mps = 0.4", "car.driveline_drag_n_per_mps", 0.12),
        ("[car]", "rolling_c0 = 0.02", "car.rolling_c0", 0.003),
        ("[car]", "rolling_c1_s_per_m = 0.0002", "car.rolling_c1_s_per_m", 0.00006),
        ("[car]", "front.tyre_radius_m = 0.2", "car.front.tyre_radius_m", 0.001),
        ("[car]", "anti_squat = 0.3", "car.anti_squat", 0.05),
        ("[car]", "front.ride_height_sensor_x_m = 0.2", "car.front.ride_height_sensor_x_m", 0.01),
        ("[car]", "front.joint_friction_n = 30", "car.front.joint_friction_n", 9.0),
        ("[car]", "front.joint_friction_n = 0", "car.front.joint_friction_n", 2.0),
        ("[car]", "front.pushrod_ratio = 0.8", "car.front.pushrod_ratio", 0.016),
        ("[car]", "front.tyre_rate_n_per_mm = 90", "car.front.tyre_rate_n_per_m", 9000.0),
        ("[car]", "rear.axle_inertia_kgm2 = 0.5", "car.rear.axle_inertia_kgm2", 0.05),
        ("[[weather]]", "humidity_pct = 40", "weather.0.humidity", 0.10),
        ("[[weather]]", "wind_speed_mps = 1", "weather.0.wind_speed_mps", 0.3),
        ("[[weather]]", "wind_speed_mps = 4", "weather.0.wind_speed_mps", 0.6),
        ("[[weather]]", "wind_from_deg = 90", "weather.0.wind_from_rad", math.radians(15)),
        ("[[runs]]", "driver_mass_kg = 80", "runs.0.driver_mass_kg", 1.0),
    ],
)
def test_a_bare_number_gets_a_sensible_u(tmp_path, table: str, line: str, attribute: str, u: float) -> None:
    day = read(tmp_path, MINIMAL.replace(table, f"{table}\n{line}"))
    found = day
    for part in attribute.split("."):
        found = found[int(part)] if part.isdigit() else getattr(found, part)
    assert found.u == pytest.approx(u)
    assert found.source == "typed"


def test_bare_pressure_temperature_and_grade(tmp_path) -> None:
    day = read(tmp_path, "[venue]\ngrade = 0\n" + MINIMAL)
    assert day.weather[0].pressure_pa == Quantity(100_900.0, 100.0)
    assert day.weather[0].temperature_k == Quantity(290.15, 1.0)
    assert day.venue.grade == Quantity(0.0, 0.0005)


def test_every_typed_number_has_a_nonzero_u_even_at_zero() -> None:
    zero_is_possible = {
        "driveline_drag_n",
        "driveline_drag_n_per_mps",
        "rolling_c1_s_per_m",
        "grade",
        "humidity",
    }
    zero_is_possible |= {"ride_height_sensor_x_m", "joint_friction_n"}
    zero_is_possible |= {"wind_speed_mps", "wind_from_rad", "anti_squat", "scz_front_m2", "scz_rear_m2"}
    assert all(typed_u(field, 0.0) > 0 for field in zero_is_possible)
    assert all(typed_u(field, 1.0) > 0 for field in TYPED)
    assert typed_u("no such field", 1.0) == 0.0


def test_values_that_carry_their_own_default_carry_the_folders(tmp_path) -> None:
    bare = Axle(Quantity(0.4), Quantity(0.23))
    for name in ("tyre_rate_n_per_m", "ride_height_sensor_x_m", "joint_friction_n"):
        assert getattr(bare, name) == MISSING[name]
    assert read(tmp_path, MINIMAL).car.anti_squat == MISSING["anti_squat"]


def test_properties_that_only_axle_loads_need_are_not_noted_without_them(tmp_path) -> None:
    said = " ".join(texts(read(tmp_path, MINIMAL), "default-used"))
    for key in ("anti_squat", "tyre_rate", "ride_height_sensor", "joint_friction", "spring", "pushrod"):
        assert key not in said


def test_a_mass_said_to_be_over_an_axle_is_so_within_a_hundredth(tmp_path) -> None:
    toml = MINIMAL + (
        '[[axle_loadings]]\naxle = "front"\nmass_kg = 40\nlog = "a.csv"\n'
        "bare_from_s = 0\nbare_to_s = 5\nloaded_from_s = 9\nloaded_to_s = 14\n"
    )
    day = read(tmp_path, toml)
    assert day.axle_loadings[0].share == Quantity(1.0, 0.01, "default")
    assert day.axle_loadings[0].mass_kg == Quantity(40.0, 0.2)
    assert any("[[axle_loadings]] 1 share is not given; 1 ± 0.01" in said for said in texts(day, "default-used"))


def test_defaults_are_marked_as_such() -> None:
    assert all(quantity.source == "default" for quantity in MISSING.values())
