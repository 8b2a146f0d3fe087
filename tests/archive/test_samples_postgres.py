"""The samples on a PostgreSQL server: bit for bit what the file gives, whole or not at all, damage named."""

from __future__ import annotations

import dataclasses
import threading
from pathlib import Path

import numpy as np
import pytest

from server.archive import samples_log
from server.archive.address import Address
from server.archive.samples import SampleStore
from server.archive.samples_postgres import SCHEMA, SamplesOnServer
from server.errors import NotFoundError, StillairError
from server.testday.values import RawLog
from tests.archive.sample_logs import OTHER, SHA, bits, mixed_log
from tests.postgres import Cluster

WINDOWS = ((None, None), (399.5, 601.0), (0.02, 0.05), (-5.0, 9999.0), (1499.0, None), (7.0, 6.0))


@pytest.fixture(scope="module")
def made() -> RawLog:
    return mixed_log()


@pytest.fixture(scope="module")
def address(postgres: Cluster, made: RawLog) -> str:
    """A database with one log; copied for each test that changes it."""
    address = postgres.new_database(empty=True)
    store = store_at(address)
    assert not store.exists()
    store.keep(SHA, made)
    store.close()
    return address


@pytest.fixture
def store(postgres: Cluster, address: str):  # type: ignore[no-untyped-def]
    store = store_at(postgres.copy(address))
    yield store
    store.close()


def store_at(address: str, reader_version: str = "1") -> SampleStore:
    return SampleStore(SamplesOnServer(Address(address, Path())), reader_version)


def rows(store: SampleStore, statement: str) -> list[tuple[object, ...]]:
    with store._file.writing() as connection:
        done = connection.execute(statement)
        return [tuple(row) for row in done.fetchall()] if done.returns_rows else []  # type: ignore[attr-defined]


def test_it_gives_what_the_file_gives_bit_for_bit(address: str, made: RawLog, tmp_path: Path) -> None:
    file, server = SampleStore(tmp_path / "samples.sqlite3"), store_at(address)
    file.keep(SHA, made)
    assert file.channels(SHA) == server.channels(SHA)
    back = server.log(SHA)
    for field in dataclasses.fields(RawLog):
        if field.name != "channels":
            assert getattr(back, field.name) == getattr(made, field.name), field.name
    for one, was in zip(back.channels, made.channels, strict=True):
        assert (one.name, one.unit) == (was.name, was.unit)
        np.testing.assert_array_equal(bits(one.time_s), bits(was.time_s))
        np.testing.assert_array_equal(bits(one.values), bits(was.values))
    for position in range(len(made.channels)):
        for start, end in WINDOWS:
            traces = [place.trace(SHA, position, start, end, 300) for place in (file, server)]
            for name in ("first_s", "last_s", "low", "high", "count"):
                np.testing.assert_array_equal(*(getattr(trace, name) for trace in traces))
    assert list(server.verify(SHA)) == list(server.loose_ends()) == []
    server.close()


def test_what_is_kept_is_known_and_what_is_dropped_leaves_nothing(store: SampleStore, made: RawLog) -> None:
    store.keep(OTHER, made)
    assert store.hashes() == [SHA, OTHER]
    store.drop(SHA)
    assert (store.has(SHA), store.has(OTHER)) == (False, True)
    store.drop(OTHER)
    for table in ("logs", "channels", "series", "levels", "chunks"):
        assert rows(store, f"SELECT count(*) FROM {table}") == [(0,)], table
    with pytest.raises(NotFoundError, match="no log aaaaaaaaaaaa…"):
        store.channels(SHA)


def test_a_log_is_kept_whole_or_not_at_all(
    store: SampleStore, made: RawLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, seen = samples_log.pack, []

    def fails_late(values: np.ndarray) -> object:  # type: ignore[type-arg]
        seen.append(values)
        if len(seen) > 5:
            raise OSError("the memory went")
        return whole(values)

    monkeypatch.setattr(samples_log, "pack", fails_late)
    with pytest.raises(OSError, match="the memory went"):
        store.keep(OTHER, made)
    assert store.hashes() == [SHA]
    assert list(store.loose_ends()) == []


def test_two_that_keep_the_same_log_at_once(store: SampleStore, made: RawLog) -> None:
    mistakes: list[Exception] = []

    def keep() -> None:
        try:
            store.keep(OTHER, made)
        except Exception as error:
            mistakes.append(error)

    threads = [threading.Thread(target=keep) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert mistakes == []
    assert rows(store, "SELECT count(*) FROM logs") == [(2,)]


def test_damage_names_channel_and_part(store: SampleStore) -> None:
    flipped = "overlay(data placing '\\x00ff'::bytea from 20)"
    rows(store, f"UPDATE chunks SET data = {flipped} WHERE series_id = 1 AND part = 1")
    with pytest.raises(StillairError, match="Part 2 of 3 of the times of 'speed' in the samples store is damaged"):
        store.log(SHA)
    assert any("Part 2 of 3" in fault for fault in store.verify(SHA))


@pytest.mark.parametrize(("version", "is_newer"), [("0", False), ("99", True)])
def test_another_version_is_made_anew_or_left_alone(
    postgres: Cluster, address: str, made: RawLog, version: str, is_newer: bool
) -> None:
    again = postgres.copy(address)
    with postgres.connected(again) as connection:
        connection.execute(f"COMMENT ON SCHEMA {SCHEMA} IS '{version}'")
    store = store_at(again)
    if is_newer:
        with pytest.raises(StillairError, match="version 99, which a newer Stillair wrote"):
            store.has(SHA)
    else:
        assert not store.has(SHA)
        store.keep(SHA, made)
        assert store.has(SHA)
    store.close()
