"""Any quantity's standard uncertainty beside it, absolute or relative."""

import pytest

from server.testday import folder_keys as keys
from server.testday.values import Day
from tests.testday.folders import read, refusal, texts

# table, key, value in the file, SI field, SI per unit of the file
QUANTITIES = [
    ("[venue]", "grade", 0.002, "venue.grade", 1),
    ("[car]", "mass_kg", 240, "car.mass_kg", 1),
    ("[car]", "wheelbase_m", 1.6, "car.wheelbase_m", 1),
    ("[car]", "front_weight", 0.5, "car.front_weight", 1),
    ("[car]", "cg_height_m", 0.3, "car.cg_height_m", 1),
    ("[car]", "driveline_drag_n", 8, "car.driveline_drag_n", 1),
    ("[car]", "driveline_drag_n_per_mps", 0.5, "car.driveline_drag_n_per_mps", 1),
    ("[car]", "rolling_c0", 0.02, "car.rolling_c0", 1),
    ("[car]", "rolling_c1_s_per_m", 0.0002, "car.rolling_c1_s_per_m", 1),
    ("[car]", "anti_squat", 0.2, "car.anti_squat", 1),
    ("[car.front]", "axle_inertia_kgm2", 0.5, "car.front.axle_inertia_kgm2", 1),
    ("[car.front]", "tyre_radius_m", 0.25, "car.front.tyre_radius_m", 1),
    ("[car.front]", "spring_rate_n_per_mm", 40, "car.front.spring_rate_n_per_m", 1000),
    ("[car.front]", "motion_ratio", 0.9, "car.front.motion_ratio", 1),
    ("[car.front]", "tyre_rate_n_per_mm", 100, "car.front.tyre_rate_n_per_m", 1000),
    ("[car.front]", "ride_height_sensor_x_m", 0.1, "car.front.ride_height_sensor_x_m", 1),
    ("[car.front]", "joint_friction_n", 30, "car.front.joint_friction_n", 1),
    ("[car.front]", "pushrod_ratio", 0.8, "car.front.pushrod_ratio", 1),
    ("[[weather]]", "pressure_hpa", 990, "weather.0.pressure_pa", 100),
    ("[[weather]]", "temperature_c", 20, "weather.0.temperature_k", 1),
    ("[[weather]]", "humidity_pct", 40, "weather.0.humidity", 0.01),
    ("[[weather]]", "wind_speed_mps", 2, "weather.0.wind_speed_mps", 1),
    ("[[weather]]", "wind_from_deg", 200, "weather.0.wind_from_rad", 0.017453292519943295),
    ("[[setups]]", "scz_front_m2", 1.5, "setups.0.scz_front_m2", 1),
    ("[[setups]]", "scz_rear_m2", 2, "setups.0.scz_rear_m2", 1),
    ("[[runs]]", "driver_mass_kg", 80, "runs.0.driver_mass_kg", 1),
    ("[[axle_loadings]]", "mass_kg", 40, "axle_loadings.0.mass_kg", 1),
    ("[[axle_loadings]]", "share", 0.9, "axle_loadings.0.share", 1),
]
REQUIRED = ("mass_kg", "pressure_hpa", "temperature_c")
TABLES = {
    "[venue]": [],
    "[car]": ["mass_kg = 236.0"],
    "[car.front]": [],
    "[[weather]]": ["pressure_hpa = 1009.0", "temperature_c = 17.0"],
    "[[setups]]": ['name = "A"'],
    "[[runs]]": ['log = "a.csv"'],
    "[[axle_loadings]]": [
        'axle = "front"',
        "mass_kg = 30",
        'log = "b.csv"',
        "bare_from_s = 0",
        "bare_to_s = 5",
        "loaded_from_s = 9",
        "loaded_to_s = 14",
    ],
}
NAMES = {key.name: key for key in vars(keys).values() if isinstance(key, keys.Key)}
NAMES["mass_kg"] = keys.MASS
NAMES |= {key.name: key for key in (*keys.SCZ, *keys.RIDE_HEIGHTS)}


def toml(table: str, key: str, *lines: str) -> str:
    """A folder's text with `lines` in one table, in place of what it said of `key`."""
    text = []
    for header, usual in TABLES.items():
        text.append(header)
        text += [line for line in usual if header != table or not line.startswith(f"{key} ")]
        text += lines if header == table else ()
    return "\n".join(text)


def found(day: Day, attribute: str):
    value = day
    for part in attribute.split("."):
        value = value[int(part)] if part.isdigit() else getattr(value, part)
    return value


@pytest.mark.parametrize("case", QUANTITIES, ids=lambda case: case[1])
def test_absolute_and_relative_u(tmp_path, case) -> None:
    table, key, value, attribute, unit = case
    plain = found(read(tmp_path / "0", toml(table, key, f"{key} = {value}")), attribute)
    u_name = NAMES[key].u_name
    day = read(tmp_path / "1", toml(table, key, f"{key} = {value}", f"{u_name} = {value / 16}"))
    assert found(day, attribute).value == plain.value
    assert found(day, attribute).u == pytest.approx(value / 16 * unit, rel=1e-15)
    assert not texts(day, "unknown-key")
    for rel_name in NAMES[key].rel_u_names:
        day = read(tmp_path / rel_name, toml(table, key, f"{key} = {value}", f"{rel_name} = 0.0625"))
        assert found(day, attribute).u == pytest.approx(0.0625 * plain.value, rel=1e-15)
        assert not texts(day, "unknown-key")


@pytest.mark.parametrize("case", QUANTITIES, ids=lambda case: case[1])
def test_impossible_u_is_refused(tmp_path, case) -> None:
    table, key, value, *_ = case
    u_name, rel_name = NAMES[key].u_name, NAMES[key].rel_u_names[0]
    line = f"{key} = {value}"
    label = table.strip("[]")
    for name, bad in (
        (u_name, "-0.1"),
        (u_name, "nan"),
        (u_name, "inf"),
        (rel_name, "-0.1"),
        (rel_name, "2"),
    ):
        sentence = refusal(tmp_path, toml(table, key, line, f"{name} = {bad}"))
        assert sentence.startswith("testday.toml: [")
        assert label in sentence
        assert f" {name} is " in sentence
    sentence = refusal(tmp_path, toml(table, key, line, f"{u_name} = {value / 16}", f"{rel_name} = 0.1"))
    assert f"{u_name} is given beside {rel_name}" in sentence


@pytest.mark.parametrize(
    "case", [case for case in QUANTITIES if case[1] not in REQUIRED], ids=lambda case: case[1]
)
def test_u_without_its_value_is_refused(tmp_path, case) -> None:
    table, key, value, *_ = case
    sentence = refusal(tmp_path, toml(table, key, f"{NAMES[key].u_name} = {value / 16}"))
    assert f" {NAMES[key].u_name} is given without {key}." in sentence


def test_names_of_companions_are_those_of_the_format() -> None:
    assert keys.MASS.u_name == "mass_u_kg"
    assert keys.CG_HEIGHT.u_name == "cg_height_u_m"
    assert keys.DRIVELINE_DRAG.u_name == "driveline_drag_u_n"
    assert keys.DRIVELINE_DRAG_PER_SPEED.u_name == "driveline_drag_u_n_per_mps"
    assert keys.ROLLING_C0.u_name == "rolling_c0_u"
    assert keys.ROLLING_C1.u_name == "rolling_c1_u_s_per_m"
    assert "axle_inertia_rel_u" in keys.AXLE_INERTIA.rel_u_names
    assert keys.GRADE.u_name == "grade_u"
    assert keys.SCZ[0].u_name == "scz_front_u_m2"


def test_one_relative_u_may_speak_of_both_parts_of_the_driveline_drag(tmp_path) -> None:
    lines = ("driveline_drag_n = 8", "driveline_drag_n_per_mps = 0.5", "driveline_drag_rel_u = 0.25")
    car = read(tmp_path / "both", toml("[car]", "driveline_drag_n", *lines)).car
    assert (car.driveline_drag_n.u, car.driveline_drag_n_per_mps.u) == (2.0, 0.125)
    car = read(tmp_path / "one", toml("[car]", "driveline_drag_n", lines[0], lines[2])).car
    assert (car.driveline_drag_n.u, car.driveline_drag_n_per_mps.source) == (2.0, "default")


@pytest.mark.parametrize(
    ("table", "key", "value", "u_name"),
    [
        ("[venue]", "heading_deg", 82, "heading_u_deg"),
        ("[venue]", "length_m", 900, "length_u_m"),
        ("[venue]", "altitude_m", 30, "altitude_u_m"),
        ("[[setups]]", "front_ride_height_mm", 30, "front_ride_height_u_mm"),
        ("[[setups]]", "rear_ride_height_mm", 30, "rear_ride_height_rel_u"),
        ("[[weather]]", "gust_mps", 5, "gust_u_mps"),
        ("[[runs]]", "clock_offset_s", 1, "clock_offset_u_s"),
    ],
)
def test_u_of_what_the_analysis_takes_as_exact_is_read_and_said_to_be_unused(
    tmp_path, table, key, value, u_name
):
    day = read(tmp_path / "u", toml(table, key, f"{key} = {value}", f"{u_name} = 0.1"))
    (said,) = texts(day, "u-unused")
    assert said.startswith("testday.toml: [")
    assert f" {u_name} is not used" in said
    assert not texts(day, "unknown-key")
    assert f" {u_name} is -1" in refusal(
        tmp_path / "r", toml(table, key, f"{key} = {value}", f"{u_name} = -1")
    )


def test_u_of_magnetic_wind(tmp_path) -> None:
    lines = ("wind_speed_mps = 1", "wind_from_magnetic_deg = 10", "declination_deg = -20")
    wind = read(tmp_path / "0", toml("[[weather]]", "x", *lines, "wind_from_magnetic_u_deg = 9")).weather[0]
    assert wind.wind_from_rad.value == pytest.approx(350 * 0.017453292519943295)
    assert wind.wind_from_rad.u == pytest.approx(9 * 0.017453292519943295)
    wind = read(tmp_path / "1", toml("[[weather]]", "x", *lines, "wind_from_u_deg = 8")).weather[0]
    assert wind.wind_from_rad.u == pytest.approx(8 * 0.017453292519943295)


def test_a_stated_source_is_kept(tmp_path) -> None:
    lines = ("wheelbase_m = 1.6", 'sources = { wheelbase_m = "measured" }')
    assert read(tmp_path / "0", toml("[car]", "x", *lines)).car.wheelbase_m.source == "measured"
    bad = refusal(tmp_path / "1", toml("[car]", "x", lines[0], 'sources = { wheelbase_m = "guessed" }'))
    assert "wheelbase_m is the text 'guessed'; a source must be one of" in bad
