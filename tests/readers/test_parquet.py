"""Parquet as data frames and other writers leave it: the same names, units, times and words as in a CSV."""

import datetime as dt

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from server.errors import LogError
from server.readers import limits, open_log, parquet_log
from tests.readers.damaging import damaged, reads_or_refuses
from tests.readers.logs import channel, codes, is_sound, names, read, said

N = 400
TIME = np.arange(N) / 50.0
MOMENT = np.datetime64("2026-05-09T09:00:00.250000", "us") + (np.arange(N) * 20_000).astype("timedelta64[us]")


def written(tmp_path, columns, **options):
    """A log of named Arrow arrays, opened."""
    table = pa.table(columns) if isinstance(columns, dict) else columns
    path = tmp_path / "run01.csv"  # the content tells the format, not the name
    pq.write_table(table, path, **options)
    return open_log(path)


def test_what_a_csv_gives_a_parquet_file_gives(tmp_path):
    frame = pd.DataFrame(
        {
            "time": TIME,
            "GPS Speed [km/h]": 60.0 + np.sin(TIME),
            "Damper FL (mm)": np.where(TIME > 2, 12.25, -9999.0),
            "Gear": np.where(TIME > 4, "N", "2"),
            "Brake": np.where(TIME > 4, "ON", "OFF"),
            "Brake ": np.where(TIME > 4, 1.5, np.nan),
            "lat": 4916.45 + TIME / 1000,
            "side": "N",
            "remark": "<b>fast</b>",
        }
    )
    frame = frame.rename(columns={"Brake ": "Brake"})
    csv = read(frame.to_csv(index=False))
    path = tmp_path / "run01.csv"
    columns = [pa.array(frame.iloc[:, i]) for i in range(frame.shape[1])]
    pq.write_table(pa.Table.from_arrays(columns, list(frame.columns)), path)
    parquet = open_log(path)
    assert names(parquet) == names(csv)
    assert [c.unit for c in parquet.channels] == [c.unit for c in csv.channels]
    for one, other in zip(parquet.channels, csv.channels, strict=True):
        assert np.array_equal(one.time_s, other.time_s)
        assert one.values == pytest.approx(other.values, rel=1e-15)
    assert [(f.code, f.text) for f in parquet.findings] == [(f.code, f.text) for f in csv.findings]
    assert {"sentinel", "duplicate-names", "text-columns", "degree-minutes"} <= codes(parquet)
    assert parquet.description.startswith("run01.csv was read as a table in Parquet, packed by snappy; 400 rows of 6")


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (pa.array(TIME, pa.float32()), None),
        (pa.array(np.arange(N) * 20), b"ms"),
        (pa.array(np.arange(N) * 20_000, pa.duration("us")), None),
        (pa.array([f"{t:.2f}" for t in TIME]), None),
    ],
    ids=["float", "milliseconds by metadata", "duration", "numbers as words"],
)
def test_elapsed_times(tmp_path, cells, unit):
    field = pa.field("time", cells.type, metadata={b"unit": unit} if unit else None)
    speed = pa.field("v", pa.float64(), metadata={b"Units": b"m/s"})
    raw = written(tmp_path, pa.Table.from_arrays([cells, pa.array(TIME)], schema=pa.schema([field, speed])))
    assert channel(raw, "v").time_s == pytest.approx(TIME, abs=1e-6)
    assert channel(raw, "v").unit == "m/s"
    assert raw.start_clock_s is None


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize(("zone", "clock"), [(None, 9), ("UTC", 9), ("Europe/Lisbon", 8)])
def test_moments(tmp_path, unit, zone, clock):
    """A moment without a zone is the venue's clock; one with a zone is told in UTC."""
    frame = pd.DataFrame({"stamp": pd.Series(MOMENT).dt.tz_localize(zone).astype(
        f"datetime64[{unit}]" if zone is None else f"datetime64[{unit}, {zone}]"), "v [m/s]": TIME})  # fmt: skip
    raw = written(tmp_path, pa.Table.from_pandas(frame))
    assert raw.start_clock_s == pytest.approx(clock * 3600 + 0.25, abs=1e-9)
    assert raw.start_date == dt.date(2026, 5, 9)
    assert raw.clock_is_utc == (zone is not None)
    assert channel(raw, "v").time_s == pytest.approx(TIME, abs=1e-9)
    assert raw.time_column == "stamp"


def test_a_clock_and_a_date_beside_an_elapsed_time(tmp_path):
    clock = pa.array([(dt.datetime(2026, 5, 9, 9) + dt.timedelta(seconds=float(t))).time() for t in TIME])
    date = pa.array([dt.date(2026, 5, 9)] * N)
    raw = written(tmp_path, {"time [s]": TIME + 3.0, "clock": clock, "date": date, "v [m/s]": TIME})
    assert raw.start_clock_s == pytest.approx(9 * 3600 - 3.0)
    assert raw.start_date == dt.date(2026, 5, 9)
    assert names(raw) == ["v"]


@pytest.mark.parametrize(
    "index", [pd.Index(TIME), pd.DatetimeIndex(MOMENT), pd.TimedeltaIndex(np.arange(N) * 20_000_000)]
)
def test_a_nameless_index_of_a_data_frame_is_its_time(tmp_path, index):
    frame = pd.DataFrame({"v": TIME, "x": -TIME}, index=index)
    frame.attrs["units"] = {"v": "km/h"}
    raw = written(tmp_path, pa.Table.from_pandas(frame))
    assert channel(raw, "v").time_s == pytest.approx(TIME, abs=1e-9)
    assert [(c.name, c.unit) for c in raw.channels] == [("v", "km/h"), ("x", None)]


def test_a_long_table(tmp_path):
    signal = pa.array(["speed [km/h]", "throttle"] * N).dictionary_encode()
    values = np.column_stack([60 - TIME, np.zeros(N)]).ravel()
    raw = written(tmp_path, {"time": np.repeat(TIME, 2), "signal": signal, "value": values})
    assert [(c.name, c.unit, len(c.values)) for c in raw.channels] == [("speed", "km/h", N), ("throttle", None, N)]
    assert channel(raw, "speed").values == pytest.approx(60 - TIME)
    assert "long table" in raw.description


def test_kinds_of_cells(tmp_path):
    raw = written(
        tmp_path,
        {
            "time": TIME,
            "flag": pa.array(TIME > 2),
            "half": pa.array(TIME.astype(np.float16)),
            "money": pa.array([None, *[12] * (N - 1)], pa.decimal128(9, 2)),
            "few": pa.array(np.arange(N) % 3, pa.int8()).dictionary_encode(),
            "nothing": pa.nulls(N),
            "pairs": pa.array([[1.0, 2.0]] * N),
            "bytes": pa.array([b"x"] * N),
        },
    )
    assert [(c.name, len(c.values)) for c in raw.channels] == [("flag", N), ("half", N), ("money", N - 1), ("few", N)]
    text = "run01.csv: columns of lists, records or bytes are left out: 'pairs', 'bytes'."
    assert said(raw, "text-columns") == text
    assert said(raw, "empty-channel") == "run01.csv: 'nothing' holds no sample."


def test_a_persons_word_on_the_time(tmp_path):
    raw = written(tmp_path, {"time": TIME, "tick [ms]": TIME * 2000.0, "v [m/s]": TIME})
    again = open_log(tmp_path / "run01.csv", time_column="tick")
    assert (raw.time_column, again.time_column) == ("time", "tick")
    assert channel(again, "v").time_s == pytest.approx(2.0 * TIME)


def test_no_time_is_said_with_the_line_to_add(tmp_path):
    with pytest.raises(LogError, match=r"none of its columns is clearly the time: 'v', 'w'\. Name it under"):
        written(tmp_path, {"v": np.sin(TIME), "w": np.cos(TIME)})


def test_a_file_without_its_end_is_refused(tmp_path):
    written(tmp_path, {"time": TIME, "v": TIME})
    path = tmp_path / "run01.csv"
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(LogError, match=r"run01.csv stops before its end at byte [\d,]+; a Parquet file names its col"):
        open_log(path)


def test_rows_before_a_damaged_page_are_kept(tmp_path):
    count = 200_000
    time = np.arange(count) / 100.0
    options = {"row_group_size": 50_000, "write_page_checksum": True, "use_dictionary": False, "compression": "none"}
    written(tmp_path, {"time": time, "v": np.sin(time)}, **options)
    path = tmp_path / "run01.csv"
    data = bytearray(path.read_bytes())
    data[int(0.8 * len(data))] ^= 0xFF
    path.write_bytes(bytes(data))
    raw = open_log(path)
    text = said(raw, "log-cut-short")
    assert "the log is damaged behind row " in text
    assert text.endswith("; everything before it was read.")
    assert 50_000 <= len(channel(raw, "v").values) < count


def test_what_unpacks_to_too_much_is_refused_before_it_is_read(tmp_path, monkeypatch):
    """300 million equal numbers pack into a megabyte; the file says how many there are."""
    path = tmp_path / "bomb.parquet"
    chunk = pa.table({"time": pa.array(np.zeros(10_000_000, np.int8)), "v": pa.array(np.zeros(10_000_000, np.int8))})
    with pq.ParquetWriter(path, chunk.schema, compression="zstd") as writer:
        for _ in range(15):
            writer.write_table(chunk)
    assert path.stat().st_size < 2_000_000
    monkeypatch.setattr(parquet_log, "_table", lambda *_: pytest.fail("it was read"))
    with pytest.raises(LogError, match=r"bomb.parquet unpacks to 2,400 MB; no more than 2,147 MB are read"):
        open_log(path)


def test_an_absurd_number_of_columns_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "MAX_CHANNELS", 3)
    with pytest.raises(LogError, match=r"run01.csv declares 4 channels; no more than 3 are read"):
        written(tmp_path, {"time": TIME, "a": TIME, "b": TIME, "c": TIME})


def test_no_rows(tmp_path):
    with pytest.raises(LogError, match=r"run01.csv holds no rows\."):
        written(tmp_path, {"time": TIME[:0], "a": TIME[:0]})


def test_markup_in_names_stays_text(tmp_path):
    raw = written(tmp_path, {"time": TIME, "<script>alert(1)</script> [m/s]": TIME})
    assert names(raw) == ["<script>alert(1)</script>"]


@pytest.mark.parametrize("compression", ["none", "gzip", "zstd"])
def test_damaged_files(tmp_path, compression):
    columns = {"time": TIME, "v [m/s]": 20 - TIME, "gear": pa.array(["N", "1"] * (N // 2)), "stamp": pa.array(MOMENT)}
    raw = written(tmp_path, columns, compression=compression, row_group_size=150)
    assert is_sound(raw)
    data, path = (tmp_path / "run01.csv").read_bytes(), tmp_path / "x.parquet"
    read_well = 0
    assert reads_or_refuses(tmp_path / "run01.csv")
    for bad in damaged(data, 120):
        path.write_bytes(bad)
        read_well += reads_or_refuses(path)
    assert read_well < 120  # checksums of packed pages refuse nearly all
