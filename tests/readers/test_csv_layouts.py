"""Separators, decimal marks, encodings, headers: the same numbers whatever the writing."""

import csv
import io

import numpy as np
import pandas as pd
import pytest

from server.errors import LogError
from tests.readers.logs import channel, codes, lines, names, read, said

N = 40
TIME = np.arange(N) * 0.01
SPEED = 80.0 - 0.125 * np.arange(N)


def table(separator: str, decimal: str = ".", header: str = "Time [s]{0}Speed [km/h]{0}Note [-]") -> str:
    body = lines(
        lambda i: separator.join([f"{TIME[i]:.2f}", f"{SPEED[i]:.3f}", "1"]).replace(".", decimal), N
    )
    return header.format(separator) + "\n" + body


def check(raw) -> None:
    speed = channel(raw, "Speed")
    assert speed.unit == "km/h"
    np.testing.assert_allclose(speed.time_s, TIME, rtol=0, atol=1e-12)
    np.testing.assert_allclose(speed.values, SPEED, rtol=1e-15)
    assert channel(raw, "Note").unit == "-"


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(separator):
    check(read(table(separator)))


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_decimal_comma(separator):
    raw = read(table(separator, ","))
    check(raw)
    assert "decimal commas" in raw.description


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32"])
def test_encodings(separator, encoding):
    text = table(separator).replace("Note", "Température °")
    raw = read(text, encoding)
    assert names(raw) == ["Speed", "Température °"]
    np.testing.assert_allclose(channel(raw, "Speed").values, SPEED, rtol=1e-15)


def test_cp1252_in_the_data():
    raw = read("time;lat;ü\n" + lines(lambda i: f"{i / 10};33°59.{100 + i};{i}"), "cp1252")
    np.testing.assert_allclose(channel(raw, "lat").values[0], 33 + 59.1 / 60, rtol=1e-12)
    assert "Windows-1252" in raw.description


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends(ending):
    check(read(table(",").replace("\n", ending)))


def test_blanks_around_cells_and_blank_separated_columns():
    check(read(table(" ; ")))
    raw = read("time speed\n" + lines(lambda i: f"   {i / 10:6.1f}    {i:8.3f}"))
    np.testing.assert_array_equal(channel(raw, "speed").values, np.arange(50))


def test_separators_at_line_ends_make_no_channel():
    raw = read("time;speed;\n" + lines(lambda i: f"{i / 10};{i};"))
    assert names(raw) == ["speed"]
    assert not raw.findings


def test_preamble_comments_names_and_units():
    head = "Box 7;fw 1.2\nDate;09.05.2026\nRate;100\n\n# free words; here\nTime;Speed;Throttle\ns;km/h;%\n"
    raw = read(head + lines(lambda i: f"{i / 100};{i};{i}"))
    assert [(c.name, c.unit) for c in raw.channels] == [("Speed", "km/h"), ("Throttle", "%")]
    assert "names in line 6, units in line 7" in raw.description


def test_long_preamble_of_pairs():
    head = lines(lambda i: f"key {i},{i}", 60) + "time,a [V],b,c\n"
    raw = read(head + lines(lambda i: f"{i / 10},{i},1,2", 20))
    assert names(raw) == ["a", "b", "c"]
    assert len(channel(raw, "a").values) == 20


def test_preamble_beyond_the_first_look():
    head = lines(lambda i: f"remark {i} " + "x" * 200, 500)
    assert len(head) > 65_536
    check(read(head + table(",")))


def test_commented_names():
    raw = read("# time, speed [m/s]\n" + lines(lambda i: f"{i / 10},{i}"))
    assert (raw.channels[0].name, raw.channels[0].unit) == ("speed", "m/s")


def test_unit_row_with_ones_and_group_row():
    raw = read("time,a,b\ns,1,V\n" + lines(lambda i: f"{i / 10},{i},{i}"))
    assert [(c.name, c.unit) for c in raw.channels] == [("a", "1"), ("b", "V")]
    raw = read("Car,,Box\ntime,a,b\n" + lines(lambda i: f"{i / 10},{i},{i}"))
    assert names(raw) == ["a", "b"]


@pytest.mark.parametrize(
    ("written", "name", "unit"),
    [
        ("Speed [km/h]", "Speed", "km/h"),
        ("Speed (km/h)", "Speed", "km/h"),
        ("Speed / km/h", "Speed", "km/h"),
        ("Speed in km/h", "Speed", "km/h"),
        ("Speed {km/h}", "Speed", "km/h"),
        ("Speed[km/h]", "Speed", "km/h"),
        ("Accel (m/s²)", "Accel", "m/s²"),
        ("Temp (°C)", "Temp", "°C"),
        ("Speed (GPS)", "Speed (GPS)", None),
        ("Speed (2)", "Speed (2)", None),
        ("Brake (F)", "Brake (F)", None),
        ("Odd [furlong]", "Odd", "furlong"),
    ],
)
def test_unit_in_the_name(written, name, unit):
    raw = read(f"time,{written}\n" + lines(lambda i: f"{i / 10},{i}"))
    assert (raw.channels[0].name, raw.channels[0].unit) == (name, unit)


def test_quotes_and_duplicate_names():
    raw = read('"time","Speed","Speed","a, b"\n' + lines(lambda i: f'"{i / 10}","{i}","{i + 1}","{i + 2}"'))
    assert names(raw) == ["Speed", "Speed (2)", "a, b"]
    assert channel(raw, "Speed (2)").values[0] == 1.0
    assert "'Speed'" in said(raw, "duplicate-names")


def test_a_number_already_behind_a_duplicate():
    raw = read("time,a,a (2),a\n" + lines(lambda i: f"{i / 10},{i},{i + 1},{i + 2}"))
    assert names(raw) == ["a", "a (2)", "a (3)"]


def test_quotes_around_decimal_commas_between_commas():
    raw = read("time,v\n" + lines(lambda i: f'"{i // 10},{i % 10}","{i},5"'))
    np.testing.assert_array_equal(channel(raw, "v").values, np.arange(50) + 0.5)


def test_a_stray_quote_swallows_no_line():
    raw = read("time,speed,x\n" + lines(lambda i: f"{i / 10},{i},{chr(34) if i == 5 else 4}"))
    assert len(channel(raw, "speed").values) == 50


@pytest.mark.parametrize(
    ("cell", "value"),
    [("1.234,5", 1234.5), ("1 234,5", 1234.5), ("1'234,5", 1234.5), ("12.345.678", 12345678.0)],
)
def test_thousands_with_decimal_comma(cell, value):
    raw = read("time;v;w\n" + lines(lambda i: f"{i // 10},{i % 10};{cell};{i},5"))
    assert set(channel(raw, "v").values) == {value}


def test_thousands_with_decimal_point():
    raw = read("time,v\n" + lines(lambda i: f'{i / 10},"{i + 5},{100 + i}.5"'))
    np.testing.assert_array_equal(
        channel(raw, "v").values, (np.arange(50) + 5) * 1000 + 100.5 + np.arange(50)
    )


def test_three_decimals_behind_a_comma_are_no_thousands():
    raw = read("time;v\n" + lines(lambda i: f"0,{i:03d};1,{i + 100:03d}"))
    np.testing.assert_allclose(channel(raw, "v").values, 1.1 + np.arange(50) / 1000, rtol=1e-12)


def test_no_names_at_all():
    raw = read(lines(lambda i: f"{i / 100},{i},{i + 1}"))
    assert names(raw) == ["column_2", "column_3"]
    assert raw.time_column == "column_1"
    assert "without names" in raw.description


def test_lines_that_end_before_the_slow_channels():
    raw = read("time,a,b,c,d,e\n" + lines(lambda i: f"{i / 10},{i},1" + (",2,3,4" if i % 5 == 0 else "")))
    assert [len(c.values) for c in raw.channels] == [50, 50, 10, 10, 10]


def test_more_names_than_columns_is_refused():
    with pytest.raises(
        LogError, match=r"run01.csv: line 1 has 6 names, but the lines below it have 4 columns"
    ):
        read("time,a,b,c,d,e\n" + lines(lambda i: f"{i / 10},{i},1,2"))


@pytest.mark.parametrize("count", [1, 40, 499])
def test_one_to_many_channels(count):
    text = "time," + ",".join(f"c{k}" for k in range(count)) + "\n"
    raw = read(text + lines(lambda i: f"{i / 10}," + ",".join(str(i + k) for k in range(count)), 30))
    assert len(raw.channels) == count
    assert raw.channels[-1].values[0] == count - 1


def test_long_table_mixed_and_grouped():
    mixed = "time,signal,value,unit\n" + lines(
        lambda i: f"{i / 10},speed,{i},km/h\n{i / 10 + 0.01},tps,{100 - i},%"
    )
    raw = read(mixed)
    assert [(c.name, c.unit, len(c.values)) for c in raw.channels] == [
        ("speed", "km/h", 50),
        ("tps", "%", 50),
    ]
    np.testing.assert_allclose(channel(raw, "tps").time_s[0], 0.01)
    grouped = lines(lambda i: f"{i / 10},speed [m/s],{i}") + lines(lambda i: f"{i / 10},tps,{i}", 20)
    raw = read("t,channel,value\n" + grouped)
    assert [(c.name, c.unit, len(c.values)) for c in raw.channels] == [
        ("speed", "m/s", 50),
        ("tps", None, 20),
    ]
    assert not raw.findings
    assert "long table" in raw.description


def test_a_three_column_log_with_a_state_is_no_long_table():
    raw = read("time,Mode,speed\n" + lines(lambda i: f"{i / 10},{'ND'[i % 2]},{i}"))
    assert names(raw) == ["Mode", "speed"]
    assert channel(raw, "Mode").unit == "gear"


def test_words_are_left_out_and_said():
    raw = read("time,weather,speed\n" + lines(lambda i: f"{i / 10},Clouds,{i}"))
    assert names(raw) == ["speed"]
    assert "'weather'" in said(raw, "text-columns")


def test_gear_letters_and_switches():
    raw = read(
        "time,gear,brake,x\n" + lines(lambda i: f"{i / 10},{'PRND23'[i % 6]},{'ON' if i % 2 else 'off'},{i}")
    )
    np.testing.assert_array_equal(channel(raw, "gear").values[:6], [0, -1, 0, 1, 2, 3])
    np.testing.assert_array_equal(channel(raw, "brake").values[:2], [0, 1])


def test_against_general_parsers():
    """pandas told all it needs, and Python's csv module (RFC 4180 quoting), are the references."""
    rng = np.random.default_rng(5)
    values = np.round(np.cumsum(rng.normal(0, 3, (300, 6)), axis=0), 4)
    text = "time,a,b,c,d,e,f\n" + lines(
        lambda i: (
            f"{i / 50:.2f},"
            + ",".join(f'"{v:.4f}"' if k == 2 else f"{v:.4f}" for k, v in enumerate(values[i]))
        ),
        300,
    )
    raw = read(text)
    frame = pd.read_csv(io.StringIO(text))
    rows = list(csv.DictReader(io.StringIO(text)))
    for name in "abcdef":
        np.testing.assert_array_equal(channel(raw, name).values, frame[name].to_numpy())
        np.testing.assert_allclose(channel(raw, name).values, [float(r[name]) for r in rows], rtol=1e-15)


def test_wide_lines_are_left_out_and_said():
    raw = read("time,speed\n" + lines(lambda i: f"{i / 10},{i}" + (",5,6" if i == 7 else "")))
    assert len(channel(raw, "speed").values) == 49
    assert "line 9)" in said(raw, "wide-lines")
    assert "time-gap" not in codes(raw)


def test_first_line_of_data_too_wide():
    raw = read("time,speed\n0,1,2,3\n" + lines(lambda i: f"{i / 10 + 1},{i}"))
    assert len(channel(raw, "speed").values) == 50
