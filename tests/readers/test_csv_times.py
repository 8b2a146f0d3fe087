"""Time as seconds, milliseconds, clock time, dates; blanks keep every channel's own rate."""

import datetime as dt

import numpy as np
import pytest

from server.errors import LogError
from tests.readers.logs import channel, codes, lines, names, read, said

TENTHS = np.arange(50) / 10


def clock(seconds: float) -> str:
    tenths = round(seconds * 10)
    return f"{tenths // 36000 % 24:02d}:{tenths // 600 % 60:02d}:{tenths // 10 % 60:02d}.{tenths % 10}"


@pytest.mark.parametrize(
    ("header", "cell"),
    [
        ("time [s]", lambda i: f"{i / 10}"),
        ("Time (ms)", lambda i: f"{i * 100}"),
        ("time_ms", lambda i: f"{i * 100}"),
        ("timestamp [us]", lambda i: f"{i * 100_000}"),
        ("t [min]", lambda i: f"{i / 600:.9f}"),
        ("millis", lambda i: f"{i * 100}"),
        ("Zeit", lambda i: f"{i / 10}"),
        ("tempo", lambda i: f"{i / 10}"),
        ("time", lambda i: f"{i * 100}"),
        ("time", lambda i: f"{i * 100_000}"),
        ("time", lambda i: f"{i * 100_000_000}"),
        ("Time", lambda i: f"00:0{i // 600}:{i // 10 % 60:02d}.{i % 10}"),
        ("Time", lambda i: f"0{i // 600}:{i // 10 % 60:02d}.{i % 10}"),
    ],
)
def test_elapsed_time_stays_as_the_file_has_it(header, cell):
    raw = read(f"{header};speed\n" + lines(lambda i: f"{cell(i)};{i}"))
    np.testing.assert_allclose(channel(raw, "speed").time_s, TENTHS, atol=1e-6)
    assert raw.start_clock_s is None


def test_elapsed_seconds_are_not_moved_to_zero():
    raw = read("time,speed\n" + lines(lambda i: f"{1234.5 + i / 10},{i}"))
    assert raw.channels[0].time_s[0] == 1234.5


def test_integer_steps_without_a_unit_are_said():
    assert "milliseconds" in said(read("time,v\n" + lines(lambda i: f"{i * 10},{i}")), "time-unit-inferred")
    assert "in seconds" in said(read("time,v\n" + lines(lambda i: f"{i},{i}")), "time-unit-inferred")
    assert "time-unit-inferred" not in codes(read("time,v\n" + lines(lambda i: f"{i / 10},{i}")))


def test_a_time_that_may_be_either_is_asked():
    with pytest.raises(LogError, match="may be seconds or milliseconds"):
        read("time,v\n" + lines(lambda i: f"{i},{i}", 9000))


def test_a_unit_that_is_no_time_is_refused():
    with pytest.raises(LogError, match="'time' is in 'V', which is no unit of time"):
        read("time [V],v\n" + lines(lambda i: f"{i / 10},{i}"))


@pytest.mark.parametrize(
    "form",
    ["{h:02d}:{m:02d}:{s:02d}.{f}", "{h}:{m:02d}:{s:02d},{f}", "{h:02d}:{m:02d}:{s:02d}:{f}"],
)
def test_clock_time(form):
    def cell(i: int) -> str:
        tenths = (9 * 3600 + 59 * 60 + 58) * 10 + i
        return form.format(h=tenths // 36000, m=tenths // 600 % 60, s=tenths // 10 % 60, f=tenths % 10)

    raw = read("Time;speed\n" + lines(lambda i: f"{cell(i)};{i}"))
    np.testing.assert_allclose(channel(raw, "speed").time_s, TENTHS, atol=1e-9)
    assert raw.start_clock_s == 9 * 3600 + 59 * 60 + 58


def test_twelve_hour_clock():
    raw = read(
        "Time,v\n"
        + lines(lambda i: f"{12 if i < 30 else 1}:{59 if i < 30 else 0:02d}:{(30 + i) % 60:02d} PM,{i}")
    )
    assert raw.start_clock_s == 12 * 3600 + 59 * 60 + 30
    np.testing.assert_array_equal(raw.channels[0].time_s, np.arange(50))


def test_past_midnight():
    raw = read("Time,v\n" + lines(lambda i: f"{clock(86_398 + i / 10)},{i}"))
    np.testing.assert_allclose(raw.channels[0].time_s, TENTHS, atol=1e-9)
    assert "past-midnight" in codes(raw)


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        ("2026-05-09", dt.date(2026, 5, 9)),
        ("2026/05/09", dt.date(2026, 5, 9)),
        ("09.05.2026", dt.date(2026, 5, 9)),
        ("9.5.26", dt.date(2026, 5, 9)),
        ("23/05/2026", dt.date(2026, 5, 23)),
        ("05/23/2026", dt.date(2026, 5, 23)),
        ("9 May 2026", dt.date(2026, 5, 9)),
        ("09-Mai-2026", dt.date(2026, 5, 9)),
        ("9. dez 2026", dt.date(2026, 12, 9)),
    ],
)
@pytest.mark.parametrize("apart", [True, False])
def test_dates_beside_or_before_the_clock(date, expected, apart):
    header = "Date;Time;v\n" if apart else "Stamp;v\n"
    raw = read(header + lines(lambda i: f"{date}{';' if apart else ' '}{clock(36_000 + i / 10)};{i}"))
    assert raw.start_date == expected
    assert raw.start_clock_s == 36_000
    assert names(raw) == ["v"]
    np.testing.assert_allclose(raw.channels[0].time_s, TENTHS, atol=1e-9)


def test_day_and_month_that_cannot_be_told_apart():
    raw = read("Date,Time,v\n" + lines(lambda i: f"5/9/2026,{clock(36_000 + i / 10)},{i}"))
    assert raw.start_date is None
    assert raw.start_clock_s == 36_000
    assert "date-ambiguous" in codes(raw)


def test_a_wrong_date_among_right_ones_costs_no_sample():
    raw = read(
        "Date,Time,v\n"
        + lines(lambda i: f"{'90/02/2032' if i in (3, 4) else '03/29/2026'},{clock(36_000 + i / 10)},{i}")
    )
    assert len(raw.channels[0].values) == 50
    assert raw.start_date == dt.date(2026, 3, 29)
    assert "90/02/2032" in said(raw, "unreadable-cells")


def test_a_log_of_several_days_counts_by_its_dates():
    raw = read("Date,Time,v\n" + lines(lambda i: f"2026-05-{9 + i // 25:02d},{clock(36_000 + i % 25)},{i}"))
    assert raw.channels[0].time_s[25] == 86_400
    assert "time-gap" in codes(raw)


@pytest.mark.parametrize("zone", ["", "Z", "+01:00", "+0100", " UTC"])
def test_iso_date_times(zone):
    """Against Python's own reading of ISO 8601."""
    stamps = [f"2026-05-09T09:00:{i // 10:02d}.{i % 10}25" for i in range(50)]
    raw = read("timestamp,v\n" + lines(lambda i: f"{stamps[i]}{zone},{i}"))
    moments = [dt.datetime.fromisoformat(s) for s in stamps]
    expected = [(m - moments[0]).total_seconds() for m in moments]
    np.testing.assert_allclose(raw.channels[0].time_s, expected, atol=1e-9)
    assert raw.start_date == dt.date(2026, 5, 9)
    assert raw.start_clock_s == pytest.approx(32_400.025, abs=1e-9)
    assert raw.clock_is_utc == (zone in ("Z", " UTC"))


@pytest.mark.parametrize("scale", [1, 1000, 1_000_000])
def test_seconds_since_1970(scale):
    start = dt.datetime(2026, 5, 9, 9, 30, tzinfo=dt.UTC).timestamp()
    raw = read(
        "timestamp,v\n" + lines(lambda i: f"{(start + i / 10) * scale:.{1 if scale == 1 else 0}f},{i}")
    )
    np.testing.assert_allclose(raw.channels[0].time_s, TENTHS, atol=3e-7)  # a float of 1.8e9 s has 2.4e-7 s
    assert (raw.start_date, raw.start_clock_s, raw.clock_is_utc) == (dt.date(2026, 5, 9), 34_200.0, True)


def test_a_clock_beside_an_elapsed_time_gives_the_clock_at_zero():
    raw = read("t [s],clock,v\n" + lines(lambda i: f"{5 + i / 10},{clock(32_400 + i / 10)},{i}"))
    assert raw.time_column == "t"
    assert raw.start_clock_s == 32_395.0


def test_a_clock_that_was_not_set_yet():
    raw = read("stamp,v\n" + lines(lambda i: f"{'1980-01-06' if i < 3 else '2026-05-09'} 09:00:{i:02d},{i}"))
    assert raw.start_date == dt.date(2026, 5, 9)
    assert len(raw.channels[0].values) == 47
    assert "3 lines" in said(raw, "no-time")


def test_blanks_keep_the_own_rate():
    raw = read(
        "time [ms],fast,slow,odd\n"
        + lines(lambda i: f"{i * 10},{i},{i if i % 10 == 0 else ''},{'NaN' if i % 2 else i}")
    )
    fast, slow, odd = raw.channels
    assert (len(fast.values), len(slow.values), len(odd.values)) == (50, 5, 25)
    np.testing.assert_allclose(slow.time_s, np.arange(5) / 10)
    np.testing.assert_array_equal(slow.values, np.arange(5) * 10)
    assert not raw.findings
    assert "20" not in raw.description.split("Hz")[0][-30:] or "10 to 100 Hz" in raw.description


def test_the_named_time_column_is_taken():
    text = "time,t2 [ms],v\n" + lines(lambda i: f"{i / 10},{i * 100 + 7},{i}")
    assert read(text).time_column == "time"
    raw = read(text, time_column="t2")
    assert raw.channels[-1].time_s[0] == pytest.approx(0.007)
    assert names(raw) == ["time", "v"]
    assert read(text, time_column="t2 [ms]").time_column == "t2"


def test_a_named_time_column_that_is_not_there():
    with pytest.raises(LogError, match="has no column 'clock' for the time; it has 'time', 'v'"):
        read("time,v\n" + lines(lambda i: f"{i / 10},{i}"), time_column="clock")


def test_no_time_is_asked_with_the_line_to_add():
    text = "distance [m],v\n" + lines(lambda i: f"{i / 10},{50 - i}")
    with pytest.raises(
        LogError, match=r'none of its columns is clearly the time.*\[channels\].*time = "distance"'
    ):
        read(text)


@pytest.mark.parametrize("lap", ["Lap Time", "Sector time", "lap_time", "Time gap"])
def test_lap_times_are_no_time(lap):
    raw = read(f"time,{lap},v\n" + lines(lambda i: f"{i / 10},{i / 10 % 3},{i}"))
    assert raw.time_column == "time"


def test_time_is_double_precision():
    raw = read("time,v\n" + lines(lambda i: f"{86_400 + i / 1000:.6f},{i}"))
    assert raw.channels[0].time_s.dtype == np.float64
    np.testing.assert_allclose(np.diff(raw.channels[0].time_s), 0.001, rtol=1e-7)
