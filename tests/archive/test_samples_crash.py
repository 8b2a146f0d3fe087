"""The samples store among other processes: killed while it writes, read while it writes, a disk that is full."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from server.archive import samples_file
from server.archive.samples import SampleStore
from server.archive.samples_file import SamplesFile
from server.errors import StillairError
from server.testday.values import Channel, RawLog
from tests.archive.sample_logs import OTHER, SHA, bits, log_of, mixed_log, walk

ROOT = Path(__file__).parents[2]
KEEPER = """
import sys
from pathlib import Path
from server.archive.samples import SampleStore
from tests.archive.sample_logs import mixed_log

store, log = SampleStore(Path(sys.argv[1])), mixed_log()
print("ready", flush=True)
number = int(sys.argv[2])
while True:
    sha256 = f"{number:064x}"
    store.keep(sha256, log)
    print(sha256, flush=True)
    number += 1
"""
MOMENTS = 8


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_killed_at_any_moment_a_log_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    file, log = tmp_path / "samples.sqlite3", mixed_log()
    store, told, rng = SampleStore(file), [], random.Random(1)
    for moment in range(MOMENTS):
        command = [sys.executable, "-c", KEEPER, str(file), str(1000 * moment)]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        time.sleep(rng.uniform(0.0, 0.6))
        os.kill(child.pid, signal.SIGKILL)
        told += child.stdout.read().split()
        child.wait()
        child.stdout.close()
        there = store.hashes()
        assert set(told) <= set(there), "a log that was said to be kept is lost"
        assert len(there) <= len(told) + moment + 1
    assert told
    for sha256 in there:
        assert list(store.verify(sha256)) == []
        assert len(store.channels(sha256)) == len(log.channels)
    store.keep(SHA, log)
    assert store.has(SHA)


def test_readers_while_two_write(tmp_path: Path) -> None:
    """Eight readers of one log and two writers of others, at once: no error, and never half a log."""
    store, log = SampleStore(tmp_path / "samples.sqlite3"), mixed_log()
    store.keep(SHA, log)
    mistakes: list[BaseException] = []
    done = threading.Event()
    reads = [0] * 8

    def write(first: int) -> None:
        for number in range(first, first + 5):
            store.keep(f"{number:064x}", log)

    def read(place: int) -> None:
        rng = random.Random(place)
        while not done.is_set():
            start = rng.uniform(0.0, 1000.0)
            time_s, values = store.samples(SHA, 0, start, start + 20.0)
            inside = (log.channels[0].time_s >= start) & (log.channels[0].time_s <= start + 20.0)
            np.testing.assert_array_equal(bits(values), bits(log.channels[0].values[inside]))
            assert len(time_s) == len(values)
            for sha256 in store.hashes():
                assert len(store.channels(sha256)) == len(log.channels)
            reads[place] += 1

    run(mistakes, [lambda: write(0), lambda: write(100)], [lambda k=k: read(k) for k in range(8)], done)  # type: ignore[misc]
    assert not mistakes
    assert min(reads) >= 1
    assert len(store.hashes()) == 11
    assert all(not list(store.verify(sha256)) for sha256 in store.hashes()[1:3])


def run(mistakes: list[BaseException], writers: list, readers: list, done: threading.Event) -> None:  # type: ignore[type-arg]
    def guarded(work) -> None:  # type: ignore[no-untyped-def]
        try:
            work()
        except BaseException as error:
            mistakes.append(error)

    threads = [threading.Thread(target=guarded, args=(work,)) for work in [*writers, *readers]]
    for one in threads:
        one.start()
    for one in threads[: len(writers)]:
        one.join()
    done.set()
    for one in threads[len(writers) :]:
        one.join()


def test_many_open_a_new_store_at_once(tmp_path: Path) -> None:
    """Whoever comes first makes the tables; nobody fails for it."""
    for attempt in range(5):
        store, mistakes = SampleStore(tmp_path / f"{attempt}.sqlite3"), []
        run(mistakes, [lambda s=store: s.hashes() for _ in range(8)], [], threading.Event())  # type: ignore[misc]
        assert not mistakes


def test_the_same_log_kept_by_two_at_once_is_there_once(tmp_path: Path) -> None:
    store, log, mistakes = SampleStore(tmp_path / "samples.sqlite3"), mixed_log(), []
    run(mistakes, [lambda: store.keep(SHA, log)] * 3, [], threading.Event())
    assert not mistakes
    assert store.hashes() == [SHA]
    assert list(store.verify(SHA)) == []


def test_a_mistake_in_the_middle_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from server.archive import samples_log

    store, whole = SampleStore(tmp_path / "samples.sqlite3"), samples_log.pack
    calls = []

    def failing(values: np.ndarray) -> object:  # type: ignore[type-arg]
        calls.append(1)
        if len(calls) == 6:
            raise MemoryError("no room")
        return whole(values)

    store.keep(OTHER, log_of(Channel("v", None, np.arange(5.0), walk(5, 1))))
    calls.clear()
    monkeypatch.setattr(samples_log, "pack", failing)
    with pytest.raises(MemoryError):
        store.keep(SHA, mixed_log())
    assert store.hashes() == [OTHER]


def test_a_full_disk_is_said_and_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own limit of pages stands for the end of the disk: the same error code."""
    store = SampleStore(tmp_path / "samples.sqlite3")
    assert store.hashes() == []
    connect = SamplesFile._connect

    def small(self: SamplesFile):  # type: ignore[no-untyped-def]
        connection = connect(self)
        connection.execute("PRAGMA max_page_count = 20")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(SamplesFile, "_connect", small)
        with pytest.raises(StillairError, match=r"The disk of .* is full; nothing was changed\."):
            store.keep(SHA, mixed_log())
    assert store.hashes() == []


def test_a_store_that_stays_busy_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = SampleStore(tmp_path / "samples.sqlite3")
    monkeypatch.setattr(samples_file, "BUSY_TIMEOUT_S", 0.05)
    log: RawLog = log_of(Channel("v", None, np.arange(5.0), walk(5, 1)))
    with store._file.writing(), pytest.raises(StillairError, match="was busy"):
        store.keep(SHA, log)
    store.keep(SHA, log)
    assert store.has(SHA)
