"""What a folder makes the reader notice without refusing it."""
# ruff: noqa: E501 - a table of sentences is easier to read and to search with one case a line

import ast
from pathlib import Path

import pytest

from server.testday import folder
from server.testday.findings import CODES
from server.testday.folder_checks import standard_pressure_pa
from server.testday.role_table import ROLE_NAMES
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, PREDICTIONS, read, texts


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("remarks = 'x'\n" + MINIMAL, "testday.toml: remarks is not known and was left out"),
        (MINIMAL.replace("[car]", "[car]\nwheelbse_m = 1.5"), "testday.toml: [car] wheelbse_m is not known and was left"
         " out; perhaps wheelbase_m was meant."),
        (MINIMAL.replace("[car]", "[car]\nfront.tire_radius_m = 1"), "[car.front] tire_radius_m is not known and was left"
         " out; perhaps tyre_radius_m was meant."),
        (MINIMAL + "drivers_mass_kg = 70\n", "[[runs]] 1 drivers_mass_kg is not known and was left out; perhaps"
         " driver_mass_kg was meant."),
        (MINIMAL + "[[runs.passes]]\nstart_s = 1\nend_s = 2\nuse = true\n", "[[runs.passes]] 1 of [[runs]] 1 use is not"
         " known and was left out; perhaps used was meant."),
        (MINIMAL.replace("1009.0", "1009.0\nwind_kmh = 3"), "[[weather]] 1 wind_kmh is not known and was left out."),
        (MINIMAL + '[[setups]]\nname = "A"\nride_height_front_mm = 3\n', "[[setups]] A ride_height_front_mm is not known"),
        (MINIMAL + "[venue]\ncity = 'x'\n", "[venue] city is not known and was left out."),
        (MINIMAL + "[channels]\ngpsspeed = 'v'\n", "[channels] gpsspeed is not a known channel role and was left out;"
         " perhaps gps_speed was meant."),
        (MINIMAL + "[calibration.damper]\ngain = 1\n", "[calibration.…] damper is not a known channel role"),
        (MINIMAL + "[calibration.damper_fl]\ngain = 1\nofset = 1\n", "[calibration.damper_fl] ofset is not known and was"
         " left out; perhaps offset was meant."),
        (MINIMAL.replace('log = "logs/run01.csv"', 'logs = [{ file = "a.csv", form_s = 2 }]'),
         "[[runs]] 1 logs 1 form_s is not known and was left out; perhaps from_s was meant."),
        (MINIMAL.replace("[car]", "[car]\nwheelbase_m = 1.5\nsources = { whelbase_m = 'typed' }"),
         "[car] sources whelbase_m is not known and was left out; perhaps wheelbase_m was meant."),
    ],
)  # fmt: skip
def test_unknown_keys_are_named_with_the_nearest_known_one(tmp_path: Path, toml: str, said: str) -> None:
    found = [f for f in read(tmp_path, toml).findings if f.code == "unknown-key"]
    assert [finding.grade for finding in found] == ["check"]
    assert said in found[0].text
    assert found[0].text.startswith("testday.toml: ")


def test_an_unknown_column_is_named_once(tmp_path: Path) -> None:
    predictions = PREDICTIONS.replace("source\n", "source, cl\n").replace("m3\n", "m3, 4\n")
    day = read(tmp_path, FULL, {**FULL_FILES, "predictions.csv": predictions})
    assert texts(day, "unknown-key") == ["predictions.csv: line 1 cl is not a known column and was left out."]
    assert len(day.predictions) == 2


@pytest.mark.parametrize(
    "role", ["time", "wheel_speed_rr", "ride_height_front", "ride_height_fl", "tyre_pressure_rl"]
)
def test_every_role_of_the_format_is_known(tmp_path: Path, role: str) -> None:
    assert role in ROLE_NAMES
    assert not texts(read(tmp_path, MINIMAL + f"[channels]\n{role} = 'x'\n"), "unknown-key")


# Geometric altitude and pressure. Published: ASHRAE Fundamentals 2017 ch. 1 table 1 (500 m, 1000 m, to the Pa printed
# there); ICAO Doc 7488/3 sea level.
@pytest.mark.parametrize(
    ("altitude_m", "pressure_pa", "tolerance"), [(0, 101_325, 0.5), (500, 95_461, 0.5), (1000, 89_875, 1.5)]
)
def test_standard_pressure(altitude_m: float, pressure_pa: float, tolerance: float) -> None:
    assert standard_pressure_pa(altitude_m) == pytest.approx(pressure_pa, abs=tolerance)


def at(altitude_m: float, pressure_hpa: float) -> str:
    return f"[venue]\naltitude_m = {altitude_m}\n" + MINIMAL.replace("1009.0", str(pressure_hpa))


@pytest.mark.parametrize(
    ("altitude_m", "pressure_hpa"), [(0, 1013), (0, 1004), (500, 954.6), (500, 962), (2240, 775)]
)
def test_pressure_that_fits_the_altitude_is_not_mentioned(tmp_path: Path, altitude_m, pressure_hpa) -> None:
    assert texts(read(tmp_path, at(altitude_m, pressure_hpa)), "pressure-altitude") == []


def test_pressure_reduced_to_sea_level_is_asked_about(tmp_path: Path) -> None:
    (finding,) = [f for f in read(tmp_path, at(500, 1013.25)).findings if f.code == "pressure-altitude"]
    assert finding.grade == "check"
    assert finding.text.startswith(
        "testday.toml: [[weather]] pressure_hpa is 1013.2 on average, 6.1% above the standard"
    )
    assert "seldom moves it that far" in finding.text
    assert "reduced to sea level" in finding.text
    assert "6.1% too high" in finding.text


def test_pressure_that_weather_can_explain_is_only_a_note(tmp_path: Path) -> None:
    (finding,) = [f for f in read(tmp_path, at(200, 1010)).findings if f.code == "pressure-altitude"]
    assert finding.grade == "note"
    assert "weather can do that, but so does a reading reduced to sea level" in finding.text
    (finding,) = [f for f in read(tmp_path, at(20, 990)).findings if f.code == "pressure-altitude"]
    assert finding.grade == "note"
    assert "below the standard" in finding.text
    assert "sea level" not in finding.text


def test_millimetres_of_mercury_look_like_a_mountain(tmp_path: Path) -> None:
    (said,) = texts(read(tmp_path, MINIMAL.replace("1009.0", "760")), "pressure-altitude")
    assert "760 on average, as on a mountain; [venue] altitude_m would tell" in said


def test_humidity_as_a_share_is_asked_about(tmp_path: Path) -> None:
    day = read(tmp_path, MINIMAL.replace("1009.0", "1009.0\nhumidity_pct = 0.55"))
    assert day.weather[0].humidity.value == 0.0055
    (finding,) = [f for f in day.findings if f.code == "humidity-share"]
    assert finding.grade == "check"
    assert (
        "humidity_pct is 0.55 and is read as per cent; if a share of 1 was meant, write 55." in finding.text
    )


def test_humidity_of_zero_is_taken_at_its_word(tmp_path: Path) -> None:
    assert (
        texts(read(tmp_path, MINIMAL.replace("1009.0", "1009.0\nhumidity_pct = 0")), "humidity-share") == []
    )


def test_two_runs_on_one_stretch_of_a_log(tmp_path: Path) -> None:
    second = '[[runs]]\nlog = "logs/run01.csv"\n'
    (finding,) = [f for f in read(tmp_path / "0", MINIMAL + second).findings if f.code == "log-shared"]
    assert (finding.grade, finding.run) == ("check", 2)
    assert "[[runs]] log of runs 1 and 2 is the same stretch of logs/run01.csv" in finding.text
    assert not texts(read(tmp_path / "1", MINIMAL + "to_s = 90\n" + second + "from_s = 90\n"), "log-shared")
    assert texts(read(tmp_path / "2", MINIMAL + "to_s = 91\n" + second + "from_s = 90\n"), "log-shared")


def test_mass_against_corner_masses(tmp_path: Path) -> None:
    corners = "corner_mass_kg = [77, 77, 77, 77]\ndriver_aboard_kg = 72\n"
    day = read(tmp_path, MINIMAL.replace("mass_kg = 236.0", f"mass_kg = 246\nfront_weight = 0.47\n{corners}"))
    mass, weight = texts(day, "masses-disagree")
    assert (
        mass
        == "testday.toml: [car] mass_kg is 246 kg and corner_mass_kg less the driver 236 kg; mass_kg is used."
    )
    assert (
        weight
        == "testday.toml: [car] front_weight is 0.47 and corner_mass_kg gives 0.500; front_weight is used."
    )
    assert (day.car.mass_kg.value, day.car.front_weight.value) == (246.0, 0.47)


def test_corner_masses_beside_a_mass_need_no_driver(tmp_path: Path) -> None:
    day = read(tmp_path, MINIMAL.replace("[car]", "[car]\ncorner_mass_kg = [77, 77, 77, 77]"))
    assert day.car.mass_kg.value == 236.0
    assert not texts(day, "masses-disagree")


def test_things_given_twice(tmp_path: Path) -> None:
    front = "front.motion_ratio = 0.9\nfront.motion_ratio_table = [[0, 0.9], [10, 1]]"
    toml = (
        MINIMAL.replace("[car]", f"[car]\n{front}")
        + "[calibration.gear]\ngain = 1\ntable = [[0, 0], [1, 1]]\n"
    )
    ratio, gain = texts(read(tmp_path, toml), "given-twice")
    assert (
        ratio
        == "testday.toml: [car.front] motion_ratio is given beside motion_ratio_table; the table is used."
    )
    assert gain == "testday.toml: [calibration.gear] gain is given beside table; the table is used."


def test_a_prediction_for_a_setup_that_the_day_lacks_is_kept_and_said(tmp_path: Path) -> None:
    predictions = PREDICTIONS + "b, , , , , 1.3, , , , , , , \n"
    day = read(tmp_path, FULL, {**FULL_FILES, "predictions.csv": predictions})
    assert len(day.predictions) == 3
    assert texts(day, "prediction-setup") == ["predictions.csv: setup 'b' is not a setup of this day."]


def test_every_code_that_a_table_notes_is_listed() -> None:
    noted = set()
    for file in sorted(Path(folder.__file__).parent.glob("folder*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "note":
                code = node.args[0]
                assert isinstance(code, ast.Constant)
                noted.add(code.value)
    assert len(noted) >= 7
    assert noted <= set(CODES)


@pytest.mark.parametrize(("toml", "files"), [(MINIMAL, {}), (FULL, FULL_FILES)])
def test_every_code_that_is_raised_is_listed(tmp_path: Path, toml: str, files: dict[str, str]) -> None:
    toml = toml.replace("[car]", "[car]\nodd = 1").replace("pressure_hpa = 1009", "pressure_hpa = 909")
    assert {finding.code for finding in read(tmp_path, toml, files).findings} <= set(CODES)
