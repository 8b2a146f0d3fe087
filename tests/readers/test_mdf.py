"""ASAM MDF recordings as asammdf, a general reference library, writes them."""

import datetime as dt
import struct
import subprocess
import zlib

import numpy as np
import pytest
from asammdf import MDF, Signal
from asammdf.blocks.v4_blocks import ChannelConversion

from server.errors import LogError
from server.readers import limits, mdf_log, open_log
from server.readers.mdf_blocks import _blocks, cut_block
from server.readers.mdf_read import read_mdf
from tests.readers.buses import DBC, cantools_values, database, drive, write
from tests.readers.damaging import damaged, reads_or_refuses
from tests.readers.logs import channel, codes, is_sound, names, said

# asammdf's object of a file that it could not open complains when it is let go, at a time nobody can tell
pytestmark = pytest.mark.filterwarnings("ignore:Exception ignored in.*MDF4.__del__")
N = 200
FAST, SLOW = np.arange(N) / 100.0, np.arange(N) / 20.0
START = dt.datetime(2026, 5, 9, 9, 0, 0, 250_000, tzinfo=dt.UTC)
SPEED = Signal(60 - FAST, FAST, name="GPS Speed", unit="km/h")


def saved(tmp_path, *groups, version="4.10", change=None, compression=0, start=START):
    """A recording of groups of signals; `change` alters what is about to be written."""
    with MDF(version=version) as mdf:
        for number, signals in enumerate(groups, start=1):
            mdf.append(list(signals), acq_name=f"task {number}")
        mdf.start_time = start
        if change is not None:
            change(mdf)
        path = mdf.save(tmp_path / "run01.mf4", overwrite=True, compression=compression)
    return path.rename(tmp_path / "run01.csv")  # the content tells the format, not the name


def reading(path, **more):
    """Read in this process; `open_log` does so in one of its own."""
    return read_mdf(path, path.name, **more)


@pytest.mark.parametrize("compression", [0, 1, 2])
@pytest.mark.parametrize("version", ["4.00", "4.10", "4.20"])
def test_groups_keep_their_rates_and_names_stay_apart(tmp_path, version, compression):
    other = Signal(np.cos(SLOW), SLOW, name="x", unit="V")
    path = saved(
        tmp_path,
        [SPEED, Signal(np.sin(FAST), FAST, name="x", unit="mm")],
        [other, Signal((SLOW * 10).astype("i2"), SLOW, name="count")],
        version=version,
        compression=compression,
    )
    raw = reading(path)
    assert [(c.name, c.unit) for c in raw.channels] == [
        ("GPS Speed", "km/h"), ("x (task 1)", "mm"), ("x (task 2)", "V"), ("count", None)]  # fmt: skip
    assert channel(raw, "GPS Speed").time_s == pytest.approx(FAST)
    assert channel(raw, "x (task 2)").time_s == pytest.approx(SLOW)
    assert channel(raw, "x (task 2)").values == pytest.approx(np.cos(SLOW))
    assert channel(raw, "count").values == pytest.approx((SLOW * 10).astype("i2"))
    assert raw.description == (
        f"run01.csv was read as an ASAM MDF {version} recording; 2 groups of channels, 4 channels, 20 to 100 Hz."
    )


def test_a_log_of_another_process_is_the_same(tmp_path):
    path = saved(tmp_path, [SPEED, Signal(np.sin(FAST), FAST, name="x")], [Signal(SLOW, SLOW, name="y")])
    here, there = reading(path), open_log(path)
    for one, other in zip(here.channels, there.channels, strict=True):
        assert (one.name, one.unit) == (other.name, other.unit)
        assert np.array_equal(one.time_s, other.time_s)
        assert np.array_equal(one.values, other.values)
    assert there.channels[0].time_s is there.channels[1].time_s
    facts = ("file", "description", "start_clock_s", "start_date", "findings", "clock_is_utc", "time_column")
    assert [getattr(here, fact) for fact in facts] == [getattr(there, fact) for fact in facts]


def test_conversions(tmp_path):
    steps = np.arange(N).astype("u1")
    path = saved(
        tmp_path,
        [
            SPEED,
            Signal(steps, FAST, name="linear", conversion={"a": 0.5, "b": -40.0}, unit="degC"),
            Signal(steps, FAST, name="formula", conversion={"formula": "X*X/2+1"}),
            Signal(steps % 3, FAST, name="gear", conversion={"val_0": 0, "text_0": "R", "val_1": 1, "text_1": "N",
                                                            "val_2": 2, "text_2": "1"}),
            Signal(steps % 2, FAST, name="brake", conversion={"val_0": 0, "text_0": "OFF", "val_1": 1, "text_1": "ON"}),
            Signal(steps % 2, FAST, name="map", conversion={"val_0": 0, "text_0": "wet", "val_1": 1, "text_1": "dry"}),
            Signal(np.array([b"N", b"2"] * (N // 2)), FAST, name="lever", encoding="utf-8"),
            Signal(np.array([b"run", b"stop"] * (N // 2)), FAST, name="state", encoding="utf-8"),
        ],
    )  # fmt: skip
    raw = reading(path)
    assert channel(raw, "linear").values == pytest.approx(0.5 * np.arange(N) - 40.0)
    assert channel(raw, "formula").values == pytest.approx(np.arange(N) ** 2 / 2 + 1)
    assert list(channel(raw, "gear").values[:3]) == [-1.0, 0.0, 1.0]
    assert channel(raw, "gear").unit == "gear"
    assert list(channel(raw, "brake").values[:2]) == [0.0, 1.0]
    assert list(channel(raw, "map").values[:2]) == [0.0, 1.0]  # words that are no states: the numbers behind
    assert list(channel(raw, "lever").values[:2]) == [0.0, 2.0]
    assert "state" not in names(raw)
    assert "text-columns" in codes(raw)


@pytest.mark.parametrize(
    ("formula", "expected"), [("X^2", 4.0), ("sin(X1)+1.5e1", np.sin(2.0) + 15), ("(X-1)/4", 0.25)]
)
def test_formulas(tmp_path, formula, expected):
    signal = Signal(np.full(N, 2.0), FAST, name="f", conversion={"formula": formula})
    assert channel(reading(saved(tmp_path, [SPEED, signal])), "f").values == pytest.approx(np.full(N, expected))


@pytest.mark.parametrize(
    "formula", ["__import__('os')", "X.real", "X+(lambda: 1)()", "2**9**9**9**9**9", "where(X,1,2)"]
)
def test_nothing_but_arithmetic_is_evaluated(tmp_path, formula):
    signal = Signal(np.full(N, 2.0), FAST, name="f", conversion={"formula": formula})
    raw = reading(saved(tmp_path, [SPEED, signal]))
    assert names(raw) == ["GPS Speed"]
    assert said(raw, "signals-left-out").endswith("neither numbers nor words are left out: 'f'.")


def test_invalid_samples_are_left_out(tmp_path):
    bad = (FAST > 0.5) & (FAST < 1.0)
    signal = Signal(FAST, FAST, name="v", unit="m/s", invalidation_bits=bad)
    words = Signal(np.array([b"ON"] * N), FAST, name="w", encoding="utf-8", invalidation_bits=~bad)
    raw = reading(saved(tmp_path, [signal, SPEED, words]))
    assert channel(raw, "v").time_s == pytest.approx(FAST[~bad])
    assert channel(raw, "w").time_s == pytest.approx(FAST[bad])
    assert len(channel(raw, "GPS Speed").values) == N


def test_sentinels_and_faulty_times_are_found_as_in_any_log(tmp_path):
    values, time = FAST.copy(), FAST.copy()
    values[20:30], time[50] = -9999.0, time[49]
    raw = reading(saved(tmp_path, [Signal(values, time, name="v", unit="m/s")]))
    assert {"sentinel", "time-doubled"} <= codes(raw)
    assert len(channel(raw, "v").values) == N - 11
    assert all(text.startswith("run01.csv, group 1 ('task 1'): ") for text in [f.text for f in raw.findings])


def with_master(**changes):
    """Change the master channel of the second group."""

    def change(mdf):
        for key, value in changes.items():
            setattr(mdf.groups[1].channels[0], key, value)

    return change


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"sync_type": 2, "unit": "rad"}, "is ordered by angle, not by time"),
        ({"sync_type": 3, "unit": "m"}, "is ordered by distance, not by time"),
        ({"sync_type": 4, "unit": ""}, "is ordered by index, not by time"),
        ({"sync_type": 0, "unit": "rpm"}, "has no time"),
        ({"channel_type": 0, "sync_type": 0}, "has no time"),
    ],
)
def test_what_is_not_ordered_by_time_is_left_out(tmp_path, changes, why):
    other = [Signal(SLOW, SLOW, name="y")]
    raw = reading(saved(tmp_path, [SPEED], other, change=with_master(**changes)))
    assert names(raw) == ["GPS Speed"]
    assert said(raw, "group-without-time").startswith(f"run01.csv, group 2 ('task 2') {why}; its ")


def test_nothing_but_angles(tmp_path):
    def change(mdf):
        mdf.groups[0].channels[0].sync_type = 2

    with pytest.raises(LogError, match=r"run01.csv holds no channel of numbers that is ordered by time\. .*by angle"):
        reading(saved(tmp_path, [SPEED], change=change))


@pytest.mark.parametrize(("unit", "scale"), [("ms", 1e-3), ("s", 1.0), ("", 1.0), ("TZYQX", 1.0)])
def test_times_come_in_seconds(tmp_path, unit, scale):
    raw = reading(saved(tmp_path, [SPEED], [Signal(SLOW, SLOW, name="y")], change=with_master(unit=unit)))
    assert channel(raw, "y").time_s == pytest.approx(SLOW * scale)


def test_a_virtual_master_counts_records(tmp_path):
    conversion = ChannelConversion(conversion_type=1, a=0.25, b=3.0)
    change = with_master(channel_type=3, conversion=conversion, data_type=0, bit_count=0)
    raw = reading(saved(tmp_path, [SPEED], [Signal(SLOW, SLOW, name="y")], change=change))
    assert channel(raw, "y").time_s == pytest.approx(3.0 + 0.25 * np.arange(N))


def test_the_start_is_a_clock(tmp_path):
    raw = reading(saved(tmp_path, [SPEED]))
    clock = pytest.approx(32_400.25, abs=1e-6)
    assert (raw.start_clock_s, raw.start_date, raw.clock_is_utc) == (clock, dt.date(2026, 5, 9), True)
    zone = dt.timezone(dt.timedelta(hours=1))
    raw = reading(saved(tmp_path, [SPEED], start=START.astimezone(zone)))
    assert (raw.start_clock_s, raw.clock_is_utc) == (clock, True)

    def local(mdf):
        mdf.header.time_flags = 1

    raw = reading(saved(tmp_path, [SPEED], change=local))
    assert (raw.start_clock_s, raw.clock_is_utc) == (clock, False)

    def unset(mdf):
        mdf.header.abs_time = 0

    raw = reading(saved(tmp_path, [SPEED], change=unset))
    assert (raw.start_clock_s, raw.start_date) == (None, None)


def test_version_3_is_read_too(tmp_path):
    speed = Signal(60 - FAST, FAST, name="GPS Speed", unit="km/h", conversion={"a": 2.0, "b": 1.0})
    path = saved(tmp_path, [speed], [Signal(SLOW, SLOW, name="y")], version="3.30", start=START.replace(tzinfo=None))
    raw = reading(path)
    assert channel(raw, "GPS Speed").values == pytest.approx(2 * SPEED.samples + 1)
    assert channel(raw, "y").time_s == pytest.approx(SLOW)
    assert "an ASAM MDF 3.30 recording" in raw.description
    assert raw.start_clock_s == pytest.approx(32_400.25)
    assert not raw.clock_is_utc


def test_what_is_no_number_is_left_out_by_name(tmp_path):
    pairs = Signal(np.zeros((N, 4), "u1"), FAST, name="bytes")
    record = np.zeros(N, dtype=[("a", "f8"), ("b", "f8")])
    raw = reading(saved(tmp_path, [SPEED, pairs, Signal(record, FAST, name="record")]))
    assert "GPS Speed" in names(raw)
    assert "bytes" not in names(raw)


def test_units_in_names_and_elements_of_arrays(tmp_path):
    signals = [Signal(FAST, FAST, name=name) for name in ("v [m/s]", "cell[0]", "cell[1]", "<b>bold</b>")]
    raw = reading(saved(tmp_path, signals))
    assert [(c.name, c.unit) for c in raw.channels] == [
        ("v", "m/s"), ("cell[0]", None), ("cell[1]", None), ("<b>bold</b>", None)]  # fmt: skip


def test_attached_files_are_left_alone(tmp_path):
    def attach(mdf):
        mdf.attach(b"not to be opened" * 100, file_name="../car.dbc")

    assert names(reading(saved(tmp_path, [SPEED], change=attach))) == ["GPS Speed"]


def frames_recording(tmp_path, more=()):
    """Bus logging as python-can writes it, with further groups of signals."""
    path = write(tmp_path / "bus.mf4", drive())
    if more:
        with MDF(path, process_bus_logging=False) as mdf:
            mdf.append(list(more), acq_name="own")
            mdf.save(tmp_path / "both.mf4", overwrite=True)
        return tmp_path / "both.mf4"
    return path


def test_raw_frames_are_decoded_with_the_database(tmp_path):
    raw = reading(frames_recording(tmp_path, [SPEED]), signals=database(tmp_path))
    assert channel(raw, "WheelSpeedFL").values == pytest.approx(
        cantools_values(DBC, drive(), "Wheels", "WheelSpeedFL")
    )
    assert channel(raw, "DamperFL").values == pytest.approx(cantools_values(DBC, drive(), "Suspension", "DamperFL"))
    assert {"GPS Speed", "Temperature (Wheels)", "Temperature (Suspension)"} <= set(names(raw))
    assert not any(name.startswith("CAN_DataFrame") for name in names(raw))
    assert np.diff(channel(raw, "Strain").time_s) == pytest.approx(np.full(199, 0.01), abs=1e-6)
    assert is_sound(raw)


def test_raw_frames_without_a_database(tmp_path):
    with pytest.raises(LogError, match=r"bus.mf4 holds raw frames of a bus \(ASAM MDF bus logging\), which only the"):
        reading(frames_recording(tmp_path))
    raw = reading(frames_recording(tmp_path, [SPEED]))
    assert names(raw) == ["GPS Speed"]
    assert "frames-without-database" in codes(raw)


def test_an_unfinished_file_is_read(tmp_path):
    """A logger that lost power: marked as unfinished, its counters of records not brought up to date."""
    path = saved(tmp_path, [SPEED], version="4.10")
    data = bytearray(path.read_bytes())
    with path.open("rb") as file:
        (group,) = [place for place, kind, _ in _blocks(file) if kind == b"##CG"]
    links = struct.unpack_from("<Q", data, group + 16)[0]
    struct.pack_into("<Q", data, group + 24 + 8 * links + 8, 0)  # cg_cycle_count
    data[0:8] = b"UnFinMF "
    struct.pack_into("<H", data, 60, 0b1)  # id_unfin_flags: update of cycle counters required
    path.write_bytes(bytes(data))
    raw = reading(path)
    assert channel(raw, "GPS Speed").values == pytest.approx(SPEED.samples)
    assert "the logger did not finish the file" in said(raw, "log-cut-short")


def data_last(path):
    """Move a recording's only block of samples to its end, where a logger writes it."""
    data = bytearray(path.read_bytes())
    with path.open("rb") as file:
        blocks = list(_blocks(file))
    (group,) = [place for place, kind, _ in blocks if kind == b"##DG"]
    ((place, length),) = [(place, length) for place, kind, length in blocks if kind == b"##DT"]
    struct.pack_into("<Q", data, group + 24 + 16, len(data))  # dg_data
    path.write_bytes(bytes(data) + bytes(data[place : place + length]))
    return path


def test_a_file_cut_in_its_samples_is_read_up_to_the_cut(tmp_path):
    path = data_last(saved(tmp_path, [SPEED]))
    assert cut_block(path) is None
    assert len(channel(reading(path), "GPS Speed").values) == N
    path.write_bytes(path.read_bytes()[:-16 * 50 - 5])
    before = path.read_bytes()
    raw = reading(path)
    assert channel(raw, "GPS Speed").values == pytest.approx(SPEED.samples[: N - 51])
    assert said(raw, "log-cut-short") == (
        "run01.csv: the log stops in the middle of its samples; everything before it was read."
    )
    assert path.read_bytes() == before


def test_a_file_cut_before_its_channels_is_refused(tmp_path):
    path = saved(tmp_path, [SPEED])
    path.write_bytes(path.read_bytes()[:-3000])
    with pytest.raises(LogError, match=r"run01.csv (cannot be read as an ASAM MDF recording|holds no channel)"):
        reading(path)


def packed_block(path):
    """Place of the first packed block's head."""
    with path.open("rb") as file:
        return next(place for place, kind, _ in _blocks(file) if kind == b"##DZ")


def test_a_block_that_declares_too_much_is_refused(tmp_path):
    path = saved(tmp_path, [SPEED], compression=1)
    data = bytearray(path.read_bytes())
    struct.pack_into("<Q", data, packed_block(path) + 24 + 8, 3 * 1024**3)  # dz_org_data_length
    path.write_bytes(bytes(data))
    with pytest.raises(LogError, match=r"run01.csv unpacks to 3,221 MB; no more than 2,147 MB are read"):
        open_log(path)


def test_a_block_that_hides_more_than_it_declares_is_refused(tmp_path):
    path = saved(tmp_path, [SPEED], compression=1)
    data, place = bytearray(path.read_bytes()), packed_block(path)
    bomb = zlib.compress(bytes(400_000_000), 9)
    head = bytes(data[place : place + 48])
    with path.open("rb") as file:
        spots = [p for p in range(len(data) - 8) if data[p : p + 8] == struct.pack("<Q", place)]
        assert file.seek(0) == 0
    for spot in spots:
        struct.pack_into("<Q", data, spot, len(data) + (-len(data)) % 8)
    data += bytes((-len(data)) % 8)
    new = bytearray(head) + bomb
    struct.pack_into("<Q", new, 8, len(new))
    struct.pack_into("<Q", new, 40, len(bomb))
    path.write_bytes(bytes(data + new))
    with pytest.raises(LogError, match=r"the block at byte [\d,]+ unpacks to more than the [\d,]+ bytes that it says"):
        open_log(path)


def test_absurd_numbers(tmp_path, monkeypatch):
    path = saved(tmp_path, [SPEED, *(Signal(FAST, FAST, name=f"c{i}") for i in range(4))])
    monkeypatch.setattr(limits, "MAX_CHANNELS", 5)
    with pytest.raises(LogError, match=r"run01.csv declares 6 channels; no more than 5 are read"):
        reading(path)
    monkeypatch.undo()
    monkeypatch.setattr(limits, "MAX_BYTES", 1000)
    with pytest.raises(LogError, match=r"run01.csv unpacks to 0 MB"):
        reading(path)


def test_a_parser_that_crashes_or_stalls_is_one_sentence(tmp_path, monkeypatch):
    path = saved(tmp_path, [SPEED])
    real = subprocess.run

    def run(code):
        return lambda command, **how: real([command[0], "-c", code], **how)

    monkeypatch.setattr(mdf_log.subprocess, "run", run("import os; os.abort()"))
    with pytest.raises(LogError, match=r"run01.csv cannot be read as an ASAM MDF recording \(its parser crashed\)"):
        open_log(path)
    monkeypatch.setattr(mdf_log.subprocess, "run", run("import time; time.sleep(60)"))
    monkeypatch.setattr(mdf_log, "_LEAST_TIME_S", 0.2)
    with pytest.raises(LogError, match=r"run01.csv cannot be read as an ASAM MDF recording \(it took over 0 s\)"):
        open_log(path)


def test_damaged_files(tmp_path, monkeypatch):
    monkeypatch.setattr(mdf_log, "_LEAST_TIME_S", 20.0)
    text = Signal(np.array([b"N", b"1"] * (N // 2)), FAST, name="gear", encoding="utf-8")
    path = data_last(saved(tmp_path, [SPEED, text]))
    data = path.read_bytes()
    path = tmp_path / "x.mf4"
    for bad in damaged(data, 12):
        path.write_bytes(bad)
        reads_or_refuses(path)
