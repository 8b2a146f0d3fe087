"""Weather as a file, and readings that lack what others have."""

from pathlib import Path

import pytest

from server.testday.values import Quantity
from tests.testday.folders import MINIMAL, read, texts

WEATHER = 'weather = "weather.csv"\n' + MINIMAL.split("[[weather]]")[0] + '[[runs]]\nlog = "a.csv"\n'
LINES = (
    "time,pressure_hpa,temperature_c,humidity_pct,wind_speed_mps,wind_from_deg,gust_mps\n"
    "09:00,1009.5,17.25,55,1.2,250,2.5\n"
    "10:30:15,1008,20,50,,,\n"
)


def test_a_file_has_the_same_columns_as_the_tables(tmp_path: Path) -> None:
    day = read(tmp_path, WEATHER, {"weather.csv": LINES})
    first, second = day.weather
    assert (first.clock_s, second.clock_s) == (32_400.0, 37_815.0)
    assert first.pressure_pa == Quantity(100_950.0, 100.0)
    assert first.temperature_k == Quantity(290.4, 1.0)
    assert first.gust_mps == 2.5
    assert (second.wind_speed_mps, second.wind_from_rad, second.gust_mps) == (None, None, None)
    assert not texts(day, "unknown-key")


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_tabs_and_decimal_commas(tmp_path: Path, separator: str, ending: str) -> None:
    text = LINES.replace(",", separator).replace(".", ",").replace("\n", ending)
    first = read(tmp_path, WEATHER, {"weather.csv": "\ufeff" + text}).weather[0]
    assert first.pressure_pa.value == 100_950.0
    assert first.temperature_k.value == 290.4


def test_companions_and_magnetic_wind_stand_in_columns_too(tmp_path: Path) -> None:
    text = "pressure_hpa,pressure_u_hpa,temperature_c,wind_from_magnetic_deg,declination_deg\n"
    text += "1009,0.25,17,350,20\n"
    (reading,) = read(tmp_path, WEATHER, {"weather.csv": text}).weather
    assert reading.clock_s is None
    assert reading.pressure_pa == Quantity(100_900.0, 25.0)
    assert reading.wind_from_rad is not None
    assert reading.wind_from_rad.value == pytest.approx(10 * 0.017453292519943295)


def test_readings_are_put_in_the_order_of_their_times(tmp_path: Path) -> None:
    text = "time,pressure_hpa,temperature_c\n11:00,1007,19\n\n09:00,1009,17\n10:00,1008,18\n"
    day = read(tmp_path, WEATHER, {"weather.csv": text})
    assert [reading.pressure_pa.value for reading in day.weather] == [100_900.0, 100_800.0, 100_700.0]


def test_a_wind_reading_between_takes_its_air_from_the_others(tmp_path: Path) -> None:
    text = (
        "time,pressure_hpa,pressure_u_hpa,temperature_c,wind_speed_mps\n"
        "09:00,1010,1,16,\n09:30,,,,3.5\n10:00,1008,2,18,\n10:30,,,,2.5\n"
    )
    day = read(tmp_path, WEATHER, {"weather.csv": text})
    between, after = day.weather[1], day.weather[3]
    assert between.pressure_pa == Quantity(100_900.0, 150.0)
    assert between.temperature_k.value == pytest.approx(290.15)
    assert after.pressure_pa == Quantity(100_800.0, 200.0)  # held after the last
    assert between.wind_speed_mps is not None
    assert between.wind_speed_mps.value == 3.5
    said = texts(day, "weather-interpolated")
    assert said == [
        "weather.csv: line 3 pressure_hpa is not given, nor in 1 more readings; it is interpolated in time.",
        "weather.csv: line 3 temperature_c is not given, nor in 1 more readings; it is interpolated in time.",
    ]


def test_a_long_file_is_read_quickly_and_notes_its_default_once(tmp_path: Path) -> None:
    rows = "".join(
        f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d},1009.{s % 10},17\n" for s in range(20_000)
    )
    day = read(tmp_path, WEATHER, {"weather.csv": "time,pressure_hpa,temperature_c\n" + rows})
    assert len(day.weather) == 20_000
    assert len([text for text in texts(day, "default-used") if "humidity_pct" in text]) == 1
