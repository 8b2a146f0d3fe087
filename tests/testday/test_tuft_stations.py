"""Stations of tufts from a CSV: what is read, and the sentence that refuses a bad line."""

import math
from pathlib import Path

import pytest

from server.errors import DayFolderError
from server.testday.tuft_stations import read_stations
from server.testday.tufts import TuftStation
from server.testday.values import Finding

HEAD = "part,station,x_mm,y_mm,direction_deg,condition\n"
NAME = "stations.csv"


def read(tmp_path: Path, text: str, findings: list[Finding] | None = None) -> tuple[TuftStation, ...]:
    path = tmp_path / NAME
    path.write_bytes(text.encode("utf-8"))
    return read_stations(path, NAME, [] if findings is None else findings)


def test_a_line_is_a_station_in_si(tmp_path: Path) -> None:
    first, second = read(tmp_path, HEAD + "rear wing,r1c1,120,-45.5,270,attached\nrear wing,r1c2,160,-45.5,,\n")
    assert (first.part, first.name, first.condition) == ("rear wing", "r1c1", "attached")
    assert (first.x_m, first.y_m) == (0.12, -0.0455)
    assert first.direction_rad == pytest.approx(-math.pi / 2)
    assert (second.direction_rad, second.condition) == (None, None)


def test_semicolons_decimal_commas_a_byte_order_mark_and_other_columns(tmp_path: Path) -> None:
    findings: list[Finding] = []
    text = "\ufeffpart;station;x_mm;y_mm;condition;photo\r\nfloor;1;12,5;3;separated;a\r\n\r\n"
    (station,) = read(tmp_path, text, findings)
    assert (station.x_m, station.condition) == (0.0125, "separated")
    assert [f.text for f in findings] == ["stations.csv: line 1 photo is not a known column and was left out."]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("", "stations.csv: holds no station; each line is part, station, x_mm, y_mm, direction_deg, condition."),
        ("floor,1,5,6,,\n,2,5,6,,\n", "line 3 part is missing; a station belongs to a part and has a name."),
        ("floor,,5,6,,\n", "line 2 station is missing"),
        ("floor,1,,6,,\n", "line 2 x_mm is missing"),
        ("floor,1,five,6,,\n", "line 2 x_mm is the text 'five'; it must be a number"),
        ("floor,1,5,6,400,\n", "line 2 direction_deg is 400; a direction must lie between −360 and 360"),
        ("floor,1,5,6,0,turbulent\n", "line 2 condition is the text 'turbulent'; a condition must be one of"),
        ("floor,1,5,6,,\nwing,1,5,6,,\nfloor,1,7,8,,\n", "line 4 station is '1' of part 'floor' again; line 2 has it"),
        ("floor,1,nan,6,,\n", "line 2 x_mm is"),
        ("floor,1,5,6,,,,9\n", "line 2 has 8 cells and the name row 6"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, lines: str, said: str) -> None:
    with pytest.raises(DayFolderError) as refused:
        read(tmp_path, HEAD + lines)
    assert said in str(refused.value)


def test_too_many_stations_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DayFolderError, match="holds 2,001 stations; 2,000 are the most"):
        read(tmp_path, HEAD + "".join(f"floor,{n},1,2,,\n" for n in range(2001)))
