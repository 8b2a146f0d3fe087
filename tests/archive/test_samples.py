"""The samples store: the log comes back bit for bit, windows are exact, damage is found and named."""

from __future__ import annotations

import dataclasses
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.archive.samples import SampleStore
from server.errors import NotFoundError, StillairError
from server.testday.values import Channel, RawLog
from tests.archive.sample_logs import OTHER, SHA, bits, log_of, mixed_log, walk


@pytest.fixture(scope="module")
def made() -> RawLog:
    return mixed_log()


@pytest.fixture
def store(tmp_path: Path, made: RawLog) -> SampleStore:
    store = SampleStore(tmp_path / "samples.sqlite3")
    store.keep(SHA, made)
    return store


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, made: RawLog) -> SampleStore:
    store = SampleStore(tmp_path_factory.mktemp("store") / "samples.sqlite3")
    store.keep(SHA, made)
    return store


def sql(file: Path, statement: str, *values: object) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(file)) as connection, connection:
        return connection.execute(statement, values).fetchall()


def test_the_log_comes_back_bit_for_bit(kept: SampleStore, made: RawLog) -> None:
    back = kept.log(SHA)
    for field in dataclasses.fields(RawLog):
        if field.name != "channels":
            assert getattr(back, field.name) == getattr(made, field.name), field.name
    assert len(back.channels) == len(made.channels)
    for one, was in zip(back.channels, made.channels, strict=True):
        assert (one.name, one.unit) == (was.name, was.unit)
        np.testing.assert_array_equal(bits(one.time_s), bits(was.time_s))
        np.testing.assert_array_equal(bits(one.values), bits(was.values))
    assert {f.name for f in dataclasses.fields(Channel)} == {"name", "unit", "time_s", "values"}


def test_the_head_is_all_but_the_samples(kept: SampleStore, made: RawLog) -> None:
    head = kept.head(SHA)
    told = [field.name for field in dataclasses.fields(RawLog) if field.name != "channels"]
    assert [getattr(head, name) for name in told] == [getattr(made, name) for name in told]
    assert [(one.name, one.unit, one.values.size) for one in head.channels] == [
        (one.name, one.unit, 0) for one in made.channels
    ]
    with pytest.raises(NotFoundError):
        kept.head(OTHER)


def test_a_time_axis_is_kept_once(kept: SampleStore, tmp_path: Path) -> None:
    """The same array and one that equals it share; so do the channels of the log that comes back."""
    back = kept.log(SHA).channels
    assert back[0].time_s is back[1].time_s is back[2].time_s
    assert back[3].time_s is not back[0].time_s
    store = SampleStore(tmp_path / "one.sqlite3")
    time_s = np.arange(1000) / 10.0
    store.keep(SHA, log_of(*(Channel(f"c{k}", None, time_s, walk(1000, k)) for k in range(5))))
    assert sql(tmp_path / "one.sqlite3", "SELECT count(*) FROM series") == [(6,)]


def test_channels_without_reading_them(kept: SampleStore, made: RawLog) -> None:
    found = kept.channels(SHA)
    assert [one.name for one in found] == [one.name for one in made.channels]
    assert [one.n for one in found] == [len(one.values) for one in made.channels]
    assert (found[0].first_s, found[0].last_s) == (0.0, 1499.99)
    assert (found[-1].first_s, found[-1].last_s) == (None, None)
    assert [one.position for one in found] == list(range(8))


def test_what_is_kept_is_known(store: SampleStore, made: RawLog) -> None:
    assert store.has(SHA)
    assert not store.has(OTHER)
    store.keep(OTHER, made)
    assert store.hashes() == [SHA, OTHER]
    store.drop(SHA)
    assert store.hashes() == [OTHER]
    with pytest.raises(NotFoundError, match="no log aaaaaaaaaaaa…"):
        store.channels(SHA)
    with pytest.raises(NotFoundError, match="no channel 'nothing'"):
        store.trace(OTHER, "nothing")


def test_nothing_of_a_dropped_log_stays(store: SampleStore) -> None:
    store.drop(SHA)
    for table in ("logs", "channels", "series", "levels", "chunks"):
        assert sql(store._file.file, f"SELECT count(*) FROM {table}") == [(0,)], table


def test_the_same_again_changes_nothing_another_reading_replaces(store: SampleStore, made: RawLog) -> None:
    store.keep(SHA, dataclasses.replace(made, description="never seen"))
    assert store.log(SHA).description == "made up"
    store.keep(SHA, dataclasses.replace(made, description="by another time", time_column="t2"))
    assert store.log(SHA).description == "by another time"
    newer = SampleStore(store._file.file, reader_version="2")
    assert not newer.has(SHA)
    newer.keep(SHA, dataclasses.replace(made, description="by newer readers"))
    assert newer.log(SHA).description == "by newer readers"
    assert not store.has(SHA)
    assert sql(store._file.file, "SELECT count(*) FROM logs") == [(1,)]


@pytest.mark.parametrize("position", range(8))
@settings(max_examples=40, deadline=None)
@given(
    span=st.tuples(st.floats(-50.0, 1600.0), st.floats(0.0, 1600.0)),
    most=st.sampled_from([3, 4, 7, 50, 700, 2000]),
)
def test_a_trace_is_the_envelope_of_its_window(
    kept: SampleStore, made: RawLog, position: int, span: tuple[float, float], most: int
) -> None:
    """Brute force: the samples between the two times, cut into runs of `count`, least and greatest of each."""
    channel, start, end = made.channels[position], span[0], span[0] + span[1]
    inside = (channel.time_s >= start) & (channel.time_s <= end)
    time_s, values = channel.time_s[inside], channel.values[inside]
    trace = kept.trace(SHA, position, start, end, most)
    assert len(trace.low) <= most
    assert trace.count.sum() == len(values)
    cuts = np.cumsum(trace.count)[:-1] if len(trace.count) else []
    times, parts = (np.split(one, cuts) if len(one) else [] for one in (time_s, values))
    np.testing.assert_array_equal(trace.first_s, [one.min() for one in times])
    np.testing.assert_array_equal(trace.last_s, [one.max() for one in times])
    numbers = [one[~np.isnan(one)] for one in parts]
    np.testing.assert_array_equal(trace.low, [one.min() if len(one) else np.nan for one in numbers])
    np.testing.assert_array_equal(trace.high, [one.max() if len(one) else np.nan for one in numbers])
    assert trace.exact == (len(values) <= most)
    got = kept.samples(SHA, position, start, end)
    np.testing.assert_array_equal(bits(got[0]), bits(time_s))
    np.testing.assert_array_equal(bits(got[1]), bits(values))


def test_the_trace_uses_the_levels(tmp_path: Path) -> None:
    """Level 2 and level 1 stand behind wide windows: with their rows spoilt, the trace says so."""
    n = 64 * 64 * 256 + 1000
    values, time_s = walk(n, 1), np.arange(n) / 1000.0
    store = SampleStore(tmp_path / "big.sqlite3")
    store.keep(SHA, log_of(Channel("v", "V", time_s, values)))
    assert sql(tmp_path / "big.sqlite3", "SELECT max(level) FROM levels") == [(2,)]
    for level, (start, end) in ((2, (1.2345, 1049.0)), (1, (100.0005, 330.0))):
        inside = (time_s >= start) & (time_s <= end)
        trace = store.trace(SHA, "v", start, end, 250 if level == 2 else 2000)
        assert np.nanmin(trace.low) == values[inside].min()
        assert np.nanmax(trace.high) == values[inside].max()
        assert len(trace.low) > 0.4 * (250 if level == 2 else 2000)
        sql(
            tmp_path / "big.sqlite3",
            "UPDATE chunks SET data = zeroblob(9) WHERE series_id IN (SELECT low_id FROM levels WHERE level = ?)",
            level,
        )
        with pytest.raises(StillairError, match=f"the least values, level {level} of "):
            store.trace(SHA, "v", start, end, 250 if level == 2 else 2000)


def test_a_name_that_several_channels_have(kept: SampleStore) -> None:
    assert kept.trace(SHA, "speed").unit == "km/h"
    assert kept.trace(SHA, 3).unit == "m/s"


def test_a_clean_store_verifies(kept: SampleStore) -> None:
    assert list(kept.verify(SHA)) == []


def test_a_flipped_byte_in_any_chunk_is_found(kept: SampleStore, tmp_path: Path) -> None:
    """Each chunk of the store in turn, times, values and levels: found by verify, and put right again."""
    file = tmp_path / "copy.sqlite3"
    with closing(sqlite3.connect(kept._file.file)) as source, closing(sqlite3.connect(file)) as copy:
        source.backup(copy)
    store, rng = SampleStore(file), np.random.default_rng(1)
    rows = sql(file, "SELECT rowid, data FROM chunks")
    assert len(rows) > 20
    for row, data in rows:
        assert isinstance(data, bytes)
        spoilt = bytearray(data)
        spoilt[rng.integers(len(data))] ^= 1 << int(rng.integers(8))
        sql(file, "UPDATE chunks SET data = ? WHERE rowid = ?", bytes(spoilt), row)
        problems = list(store.verify(SHA))
        assert len(problems) == 1, row
        assert "is damaged (its SHA-256 is another)" in problems[0]
        sql(file, "UPDATE chunks SET data = ? WHERE rowid = ?", data, row)
    assert list(store.verify(SHA)) == []


def test_damage_names_channel_and_part(store: SampleStore) -> None:
    values_id = "(SELECT values_id FROM channels WHERE position = 1)"
    sql(store._file.file, f"DELETE FROM chunks WHERE part = 1 AND series_id = {values_id}")
    with pytest.raises(StillairError, match=r"Part 2 of 3 of 'Dämpfer vorn links · 前' .* damaged \(it is missing\)"):
        store.log(SHA)
    assert len(store.samples(SHA, 1, 0.0, 655.0)[0]) == 65_501
    assert len(list(store.verify(SHA))) == 1
    sql(store._file.file, "UPDATE chunks SET last = last + 1 WHERE rowid = 1")
    assert any("the times of 'speed'" in one and "last sample" in one for one in store.verify(SHA))


def test_a_store_made_anew_by_an_older_version(store: SampleStore, made: RawLog) -> None:
    sql(store._file.file, "ALTER TABLE logs DROP COLUMN description")
    sql(store._file.file, "PRAGMA user_version = 0")
    assert not store.has(SHA)
    store.keep(SHA, made)
    assert store.log(SHA).description == "made up"


def test_a_newer_store_is_refused_untouched(store: SampleStore) -> None:
    sql(store._file.file, "PRAGMA user_version = 99")
    with pytest.raises(StillairError, match="of version 99, which a newer Stillair wrote"):
        store.has(SHA)
    assert sql(store._file.file, "SELECT count(*) FROM logs") == [(1,)]


def test_a_foreign_file_is_refused_untouched(tmp_path: Path, made: RawLog) -> None:
    sql(tmp_path / "other.sqlite3", "CREATE TABLE letters (text)")
    with pytest.raises(StillairError, match="is not a samples store"):
        SampleStore(tmp_path / "other.sqlite3").keep(SHA, made)
    (tmp_path / "text").write_text("words, " * 1000)
    with pytest.raises(StillairError, match="cannot be used"):
        SampleStore(tmp_path / "text").has(SHA)
    assert sql(tmp_path / "other.sqlite3", "SELECT name FROM sqlite_master") == [("letters",)]


def test_wrong_arguments_are_named(store: SampleStore) -> None:
    one = np.array([1.0, 2.0])
    with pytest.raises(ValueError, match="channel 'v' has times that are no numbers"):
        store.keep(OTHER, log_of(Channel("v", None, np.array([0.0, np.nan]), one)))
    with pytest.raises(ValueError, match="channel 'v' has"):
        store.keep(OTHER, log_of(Channel("v", None, one, one[:1])))
    with pytest.raises(ValueError, match="sha256"):
        store.keep("x", log_of(Channel("v", None, one, one)))
    with pytest.raises(ValueError, match="most_points is 2"):
        store.trace(SHA, "one", most_points=2)
    assert not store.has(OTHER)
