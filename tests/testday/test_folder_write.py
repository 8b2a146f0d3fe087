"""A written folder reads back as the same day, to the last digit, and is written alike every time."""

import tempfile
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from server.errors import DayFolderError
from server.testday.folder import read_folder, write_folder
from server.testday.values import Day, LogFile, Quantity, WeatherReading
from tests.testday.days import days
from tests.testday.folders import FULL, FULL_FILES, MINIMAL, make, plain, read, texts


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder with its bytes."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def stated(day: Day) -> dict:
    """What a day says, without what reading it made one notice."""
    return {key: value for key, value in plain(day).items() if key != "findings"}


@pytest.mark.parametrize(("toml", "files"), [(MINIMAL, {}), (FULL, FULL_FILES)])
def test_round_trip_keeps_the_day_and_its_findings(tmp_path: Path, toml: str, files: dict[str, str]) -> None:
    day = read(tmp_path / "day", toml, files)
    again = read_folder(write_folder(day, tmp_path / "again"))
    assert plain(again) == plain(day)
    assert files_of(write_folder(again, tmp_path / "third")) == files_of(tmp_path / "again")


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(day=days())
def test_any_day_comes_back_to_the_last_digit(day: Day) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        folder = write_folder(day, Path(scratch) / "one")
        again = read_folder(folder)
        assert stated(again) == stated(day)
        assert not texts(again, "unknown-key")
        assert files_of(write_folder(again, Path(scratch) / "two")) == files_of(folder)


def test_what_is_written_is_what_a_person_would_write(tmp_path: Path) -> None:
    day = read(tmp_path / "day", FULL, FULL_FILES)
    text = (write_folder(day, tmp_path / "again") / "testday.toml").read_text(encoding="utf-8")
    for line in ("heading_deg = 82.0", "pressure_hpa = 1008.4", "time = 09:00:00", "temperature_c = 19.5"):
        assert f"\n{line}\n" in text
    for line in ("spring_rate_n_per_mm = 39.0", "front_ride_height_mm = 30.5", "humidity_u_pct = 4.0"):
        assert f"\n{line}\n" in text
    assert tomllib.loads(text)["runs"][1]["logs"][1] == {
        "file": "logs/box02.csv",
        "signals": "bus/box.dbc",
        "clock_offset_s": -1.5,
        "from_s": 2.0,
        "to_s": 9.0,
    }


def test_a_default_is_not_written_as_if_a_person_had_said_it(tmp_path: Path) -> None:
    folder = write_folder(read(tmp_path / "day", MINIMAL), tmp_path / "again")
    text = (folder / "testday.toml").read_text(encoding="utf-8")
    assert "wheelbase" not in text
    assert "driver" not in text
    assert "humidity" not in text


def test_a_default_of_another_version_stays_a_default(tmp_path: Path) -> None:
    day = read(tmp_path / "day", MINIMAL)
    old = Quantity(1.6, 0.1, "default")
    day = replace(day, car=replace(day.car, wheelbase_m=old))
    again = read_folder(write_folder(day, tmp_path / "again"))
    assert again.car.wheelbase_m == old
    assert any("wheelbase_m is not given; 1.6 ± 0.1 m" in text for text in texts(again, "default-used"))


def test_much_weather_becomes_a_file(tmp_path: Path) -> None:
    day = read(tmp_path / "day", MINIMAL)
    air = day.weather[0]
    weather = tuple(
        WeatherReading(
            clock_s=600.0 * n + 0.1,
            pressure_pa=Quantity(100_900.0 + n / 7, 100.0),
            temperature_k=Quantity(290.0 + n / 9, 1.0),
            humidity=air.humidity,
            wind_speed_mps=Quantity(n / 11, 0.3) if n % 3 else None,
            wind_from_rad=Quantity(n / 16, 0.2) if n % 3 else None,
            gust_mps=n / 5 if n % 2 else None,
        )
        for n in range(100)
    )
    day = replace(day, weather=weather)
    folder = write_folder(day, tmp_path / "again")
    assert (folder / "weather.csv").is_file()
    assert 'weather = "weather.csv"' in (folder / "testday.toml").read_text(encoding="utf-8")
    assert stated(read_folder(folder)) == stated(day)


def test_humidity_known_in_part_is_not_filled_in_from_elsewhere(tmp_path: Path) -> None:
    day = read(tmp_path / "day", MINIMAL)
    air = replace(day.weather[0], clock_s=60.0)
    day = replace(day, weather=(air, replace(air, clock_s=120.0, humidity=Quantity(0.3, 0.05))))
    assert stated(read_folder(write_folder(day, tmp_path / "again"))) == stated(day)


def test_awkward_texts_survive(tmp_path: Path) -> None:
    awkward = 'a "quoted"\nline\ttab \\ \x7f\u0085\u2028 ünïcode # no comment = [x]'
    day = replace(read(tmp_path / "day", MINIMAL), notes=awkward, channels={"time": awkward})
    assert stated(read_folder(write_folder(day, tmp_path / "again"))) == stated(day)


def test_logs_and_tufts_are_copied_from_the_source(tmp_path: Path) -> None:
    toml = MINIMAL + '[[runs]]\nlogs = ["logs/run02.csv", "box/run02.csv"]\n'
    files = {
        "logs/run01.csv": "1",
        "logs/run02.csv": "2",
        "box/run02.csv": "3",
        "tufts.csv": "4",
        "tufts/a/b.jpg": "5",
    }
    source = make(tmp_path / "day", toml, {**files, "logs/not named.csv": "6"})
    (source / "tufts" / "link").symlink_to(tmp_path)
    folder = write_folder(read_folder(source), tmp_path / "again", source=source)
    written = files_of(folder)
    del written["testday.toml"]
    assert written == {name: text.encode() for name, text in files.items()}


def test_writing_a_folder_onto_itself_keeps_its_logs(tmp_path: Path) -> None:
    source = make(tmp_path / "day", MINIMAL, {"logs/run01.csv": "1"})
    day = read_folder(source)
    write_folder(day, source, source=source)
    assert (source / "logs" / "run01.csv").read_text() == "1"
    assert plain(read_folder(source)) == plain(day)


def test_a_log_that_the_source_lacks_is_named(tmp_path: Path) -> None:
    source = make(tmp_path / "day", MINIMAL, {"logs/Run01.csv": "1"})
    with pytest.raises(
        DayFolderError, match=r"\[\[runs\]\] 1 log is 'logs/run01.csv'; the folder has no such file"
    ):
        write_folder(read_folder(source), tmp_path / "again", source=source)


STANDS = """
[[spin_downs]]
log = "logs/spin.csv"
[[axle_loadings]]
axle = "front"
mass_kg = 40
log = "logs/gone.csv"
bare_from_s = 0
bare_to_s = 5
loaded_from_s = 9
loaded_to_s = 14
"""


def test_logs_of_stand_tests_are_copied_and_one_that_is_gone_stops_nothing(tmp_path: Path) -> None:
    source = make(tmp_path / "day", MINIMAL + STANDS, {"logs/run01.csv": "1", "logs/spin.csv": "2"})
    day = read_folder(source)
    folder = write_folder(day, tmp_path / "again", source=source)
    assert set(files_of(folder)) == {"testday.toml", "logs/run01.csv", "logs/spin.csv"}
    assert plain(read_folder(folder)) == plain(day)


def test_the_log_of_a_stand_test_that_leaves_the_folder_is_not_written(tmp_path: Path) -> None:
    day = read(tmp_path / "day", MINIMAL + STANDS)
    day = replace(day, spin_downs=(replace(day.spin_downs[0], log=LogFile("../x.csv")),))
    with pytest.raises(DayFolderError, match=r"\[\[spin_downs\]\] 1 log is '../x.csv', which leaves"):
        write_folder(day, tmp_path / "again")


def test_a_log_name_that_leaves_the_folder_is_not_written(tmp_path: Path) -> None:
    day = read(tmp_path / "day", MINIMAL)
    day = replace(day, runs=(replace(day.runs[0], logs=(LogFile("../x.csv"),)),))
    with pytest.raises(DayFolderError, match=r"\[\[runs\]\] 1 log is '../x.csv', which leaves the folder"):
        write_folder(day, tmp_path / "again")
    assert not (tmp_path / "again" / "testday.toml").exists()


def test_predictions_of_another_day_do_not_stay(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", FULL, FULL_FILES)
    write_folder(read(tmp_path / "other", MINIMAL), folder)
    assert read_folder(folder).predictions == ()
