"""Logs joined to a run: whose word counts, clocks, cuts, calibrations, questions."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from server.errors import LogError
from server.readers.join import join_run
from server.testday.values import Calibration, Channel, Finding, LogFile, Quantity, RawLog, Run
from tests.readers.cars import CAR
from tests.readers.logs import lines, read

TIME = np.arange(100) / 10


def log(*columns: tuple[str, str | None], file: str = "a.csv", **more) -> RawLog:
    channels = tuple(Channel(name, unit, TIME, 36.0 + np.arange(100.0) / 2) for name, unit in columns)
    return RawLog(file, channels, f"{file} was read.", time_column="time", **more)


def run(*logs: LogFile, **channels: str) -> Run:
    return Run(3, "A", logs or (LogFile("a.csv"),), Quantity(70.0), channels=channels)


def join(the_run: Run, *raws: RawLog, car=CAR, **day: str) -> Run:
    shelf = {raw.file: raw for raw in raws}
    return join_run(the_run, lambda file: shelf[file], car, day)


def test_proposals_come_to_si():
    (rec,) = join(run(), log(("GPS Speed", "km/h"), ("TPS", "%"))).recordings
    np.testing.assert_allclose(rec.signals["gps_speed"].values, (36.0 + np.arange(100) / 2) / 3.6)
    np.testing.assert_allclose(rec.signals["throttle"].values, (36.0 + np.arange(100) / 2) / 100)
    assert "gps_speed 'GPS Speed'" in rec.description
    assert rec.file == "a.csv"


def test_the_runs_word_before_the_days_before_proposals():
    raw = log(("GPS Speed", "km/h"), ("Speed A", "km/h"), ("Speed B", "km/h"))
    assert join(run(), raw, gps_speed="Speed A").recordings[0].signals["gps_speed"].name == "Speed A"
    joined = join(run(gps_speed="Speed B"), raw, gps_speed="Speed A")
    assert joined.recordings[0].signals["gps_speed"].name == "Speed B"


def test_offset_and_cut():
    the_run = run(LogFile("a.csv", clock_offset_s=100.0, from_s=2.0, to_s=5.0))
    gap = Finding("time-gap", "note", "…", start_s=3.0, end_s=4.0)
    far = Finding("time-gap", "note", "…", start_s=7.0, end_s=8.0)
    raw = log(("GPS Speed", "m/s"), findings=(gap, far), start_clock_s=36_000.0)
    (rec,) = join(the_run, raw).recordings
    signal = rec.signals["gps_speed"]
    assert (signal.time_s[0], signal.time_s[-1], len(signal.time_s)) == (102.0, 105.0, 31)
    np.testing.assert_array_equal(signal.values, 36.0 + np.arange(20, 51) / 2)
    assert rec.start_clock_s == 35_900.0  # the run's clock reads 100 s at 10:00:00
    assert [(f.run, f.start_s, f.end_s) for f in rec.findings] == [(3, 103.0, 104.0)]


def test_a_cut_without_samples_is_refused():
    with pytest.raises(
        LogError, match=r"Run 3: a.csv has no samples from 50 s; it runs from 0.00 s to 9.90 s"
    ):
        join(run(LogFile("a.csv", from_s=50.0)), log(("GPS Speed", "m/s")))


def test_several_logs_of_one_run():
    box = log(("GPS Speed", "km/h"), file="box.csv")
    car = log(("Wheel Speed FL", "km/h"), ("TPS", "%"), file="car.csv")
    the_run = run(LogFile("car.csv"), LogFile("box.csv", clock_offset_s=-2.5))
    joined = join(the_run, box, car, gps_speed="GPS Speed", throttle="TPS")
    first, second = joined.recordings
    assert set(first.signals) == {"wheel_speed_fl", "throttle"}
    assert second.signals["gps_speed"].time_s[0] == -2.5


def test_a_column_that_none_of_the_logs_has():
    with pytest.raises(
        LogError, match=r"Run 3: a.csv: no column 'pedal' as throttle = \"pedal\" .* holds 'GPS Speed'"
    ):
        join(run(), log(("GPS Speed", "m/s")), throttle="pedal")


def test_wheel_speeds_from_rotation():
    raw = log(("Wheel RPM FL", "rpm"), ("Wheel RPM RR", "rad/s"))
    (rec,) = join(run(), raw).recordings
    np.testing.assert_allclose(rec.signals["wheel_speed_fl"].values[0], 36 * 2 * np.pi / 60 * 0.23)
    np.testing.assert_allclose(rec.signals["wheel_speed_rr"].values[0], 36 * 0.25)


def test_calibrations():
    cal = {
        "damper_fl": Calibration(gain=25.0, offset=-10.0, unit="mm/V"),
        "damper_rr": Calibration(table=((30.0, 0.0), (40.0, 5.0), (140.0, 105.0)), unit="mm"),
    }
    raw = log(("GPS Speed", "m/s"), ("Damper FL", "mV"), ("Damper RR", "count"))
    (rec,) = join(run(), raw, car=replace(CAR, calibration=cal)).recordings
    np.testing.assert_allclose(rec.signals["damper_fl"].values[0], (25.0 * 0.036 - 10.0) / 1000)
    np.testing.assert_allclose(rec.signals["damper_rr"].values[[0, 20]], [0.003, 0.011])


def test_questions_are_one_sentence_each_with_the_line_to_add():
    raw = log(("Speed 1", "km/h"), ("Speed 2", "km/h"))
    raw = replace(raw, channels=(raw.channels[0], replace(raw.channels[1], values=np.arange(100.0))))
    with pytest.raises(LogError, match=r'vehicle_speed = "Speed 1" or vehicle_speed = "Speed 2"'):
        join(run(), raw)


def test_no_speed_lists_what_is_there():
    with pytest.raises(
        LogError, match=r"Run 3: no speed channel is there; a.csv holds 'TPS', 'Oil'\..*gps_speed"
    ):
        join(run(), log(("TPS", "%"), ("Oil", "bar")))


def test_utc_comes_to_local_time():
    raw = log(("GPS Speed", "m/s"), start_clock_s=30_000.0, start_date=dt.date(2026, 5, 9), clock_is_utc=True)
    (rec,) = join(run(), raw).recordings
    assert rec.start_clock_s is None
    assert [f.code for f in rec.findings] == ["clock-is-utc"]
    joined = join_run(run(), lambda _: raw, CAR, {}, timezone="Europe/Lisbon")
    assert joined.recordings[0].start_clock_s == 33_600.0  # summer time: UTC + 1 h
    winter = replace(raw, start_date=dt.date(2026, 1, 9))
    assert (
        join_run(run(), lambda _: winter, CAR, {}, timezone="Europe/Lisbon").recordings[0].start_clock_s
        == 30_000.0
    )


def test_a_persons_word_on_the_time():
    text = "sample,tick,GPS Speed [m/s]\n" + lines(lambda i: f"{i % 7},{i / 10},{i}")
    asked = []

    def open_file(file: str, time_column: str | None = None) -> RawLog:
        asked.append((file, time_column))
        return read(text, time_column=time_column)

    joined = join_run(run(time="tick"), open_file, CAR, {})
    assert asked == [("a.csv", None), ("a.csv", "tick")]
    assert joined.recordings[0].signals["gps_speed"].time_s[1] == pytest.approx(0.1)
    other = "time,tick [ms],GPS Speed [m/s]\n" + lines(lambda i: f"{i},{i * 100},{i}")
    joined = join_run(
        run(time="tick [ms]"), lambda _, time_column=None: read(other, time_column=time_column), CAR, {}
    )
    assert joined.recordings[0].signals["gps_speed"].time_s[1] == pytest.approx(0.1)
    joined = join_run(run(time="time"), lambda _: read(other.replace("time,", "time [s],")), CAR, {})
    assert joined.recordings[0].signals["gps_speed"].time_s[1] == 1.0
