"""What the form writes is a test-day folder that the reader takes, whatever is typed into it."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.days.typed_day import NUMBER_FIELDS, SentLog, write_typed_day
from server.errors import UploadError
from server.testday.folder import read_folder

FIELDS = {
    "mass": "236.5",
    "driver_mass": "72",
    "pressure": "1009",
    "temperature": "17,5",
    "humidity": "55",
    "reference_speed": "79.2",
    "heading": "82",
    "coasting": "clutch",
    "name": "Long apron",
    "date": "2026-05-09",
}


def logs(*setups: str) -> list[SentLog]:
    return [SentLog(f"run {i}.csv", io.BytesIO(b"time,speed\n"), setup) for i, setup in enumerate(setups, 1)]


def test_the_reader_takes_what_the_form_writes(tmp_path: Path) -> None:
    write_typed_day(FIELDS, logs("A", "B", "A"), tmp_path / "day")
    day = read_folder(tmp_path / "day")
    assert (day.name, str(day.date)) == ("Long apron", "2026-05-09")
    assert day.car.mass_kg.value == 236.5
    assert day.weather[0].temperature_k.value == pytest.approx(290.65)
    assert day.weather[0].humidity.value == pytest.approx(0.55)
    assert day.reference_speed_mps == pytest.approx(22.0)
    assert [(run.setup, run.coasting, run.driver_mass_kg.value) for run in day.runs] == [
        ("A", "clutch", 72.0),
        ("B", "clutch", 72.0),
        ("A", "clutch", 72.0),
    ]
    assert [(setup.name, setup.baseline) for setup in day.setups] == [("A", None), ("B", "A")]


def test_what_is_left_empty_is_assumed_and_said(tmp_path: Path) -> None:
    write_typed_day({**FIELDS, "driver_mass": "", "humidity": " "}, logs("A"), tmp_path / "day")
    day = read_folder(tmp_path / "day")
    assert (day.runs[0].driver_mass_kg.source, day.weather[0].humidity.source) == ("default", "default")
    assert day.runs[0].driver_mass_kg.u > 5.0
    said = " ".join(f.text for f in day.findings if f.code == "default-used")
    assert "driver_mass_kg" in said
    assert "humidity_pct" in said


@settings(max_examples=60, deadline=None)
@given(name=st.text(max_size=60), setup=st.text(min_size=1, max_size=20).filter(str.strip))
def test_any_text_stays_text(tmp_path_factory: pytest.TempPathFactory, name: str, setup: str) -> None:
    folder = tmp_path_factory.mktemp("typed") / "day"
    try:
        name.encode()
        setup.encode()
    except UnicodeEncodeError:
        return
    write_typed_day({**FIELDS, "name": name}, logs(setup), folder)
    day = tomllib.loads((folder / "testday.toml").read_text("utf-8"))
    assert day["setups"][0]["name"] == setup.strip()
    assert day["name"] == (name.strip() or "Test day of 2026-05-09")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"mass": ""}, "Car, ready to run, without driver [kg] is missing."),
        ({"mass": "heavy"}, "must be a number, not “heavy”"),
        ({"pressure": "nan"}, "must be a number"),
        ({"coasting": ""}, "Say how the car coasted"),
        ({"coasting": "falling"}, "Say how the car coasted"),
        ({"date": "9/5/2026"}, "The date must be written"),
        ({"channels": "no equals sign"}, "“role = column”"),
    ],
)
def test_what_is_missing_or_wrong_is_one_sentence(
    tmp_path: Path, changes: dict[str, str], sentence: str
) -> None:
    with pytest.raises(UploadError) as refused:
        write_typed_day({**FIELDS, **changes}, logs("A"), tmp_path / "day")
    assert sentence in str(refused.value)
    assert str(refused.value).count(".") <= 2


def test_logs_need_a_setup_and_at_least_one(tmp_path: Path) -> None:
    with pytest.raises(UploadError, match="No log"):
        write_typed_day(FIELDS, [], tmp_path / "day")
    with pytest.raises(UploadError, match=r"run 1\.csv has no setup"):
        write_typed_day(FIELDS, logs(" "), tmp_path / "day")


def test_optional_fields_are_left_out_and_columns_written(tmp_path: Path) -> None:
    fields = {**FIELDS, "heading": "", "channels": 'gps_speed = GPS "Speed"\n\nthrottle = Pedal'}
    write_typed_day(fields, logs("A"), tmp_path / "day")
    day = tomllib.loads((tmp_path / "day/testday.toml").read_text())
    assert "venue" not in day
    assert day["channels"] == {"gps_speed": 'GPS "Speed', "throttle": "Pedal"}


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("../../etc/passwd", "01_passwd"),
        (r"C:\logs\day one.csv", "01_day_one.csv"),
        ("…", "01_log"),
        ("<b>.csv", "01_b_.csv"),
        ("x" * 300 + ".csv", "01_" + "x" * 76 + ".csv"),
    ],
)
def test_names_of_logs_are_made_safe(tmp_path: Path, sent: str, kept: str) -> None:
    write_typed_day(FIELDS, [SentLog(sent, io.BytesIO(b"1"), "A")], tmp_path / "day")
    assert [file.name for file in (tmp_path / "day/logs").iterdir()] == [kept]


def test_every_number_of_the_form_has_a_unit() -> None:
    assert all(field.unit and field.label for field in NUMBER_FIELDS)
