"""The samples store against plain work on the same samples: the same file or array, the same run.

Times are processor seconds, the least (of keeping a log the median) of several rounds taken in turn; the figures are
printed.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from server.archive.samples import SampleStore
from server.archive.samples_trace import Trace
from server.figures.run_values import ChannelTrace
from server.figures.traces import traces_json
from server.readers import open_log
from server.testday.values import Channel, RawLog
from tests.benchmarks.test_reading import CHANNELS, MINUTES, RATE_HZ, write_log
from tests.ratios import least_times, settled, times_in_turn

LONG_SAMPLES = 10_000_000
MOST_OF_WHOLE = 0.25  # drawing a stretch of 10 million samples / doing it from all samples, without a pyramid
MOST_KEEPING = 2.0  # reading and keeping a log / its bare parse
MOST_ONE_CHANNEL = 1.0  # one channel of 240,000 samples back / the bare parse of a file of nothing else
LONG, DAY = "1" * 64, "2" * 64
POINTS = 2000
MOST_MEMORY = 0.3  # memory that keeping adds / the log's samples, which nothing can compress
PEAK = """
import sys
from pathlib import Path
import numpy as np
from server.archive.samples import SampleStore
from server.testday.values import Channel, RawLog

def peak():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))

rng, time_s = np.random.default_rng(1), np.arange(240_000) / 100.0
one = Channel("one", None, time_s, rng.normal(size=240_000))
SampleStore(Path(sys.argv[1]) / "small.sqlite3").keep("1" * 64, RawLog("a", (one,), "made up"))
log = RawLog("a", tuple(Channel(f"{k}", None, time_s, rng.normal(size=240_000)) for k in range(80)), "made up")
before = peak()
SampleStore(Path(sys.argv[1]) / "samples.sqlite3").keep("1" * 64, log)
print(peak() - before, sum(one.values.nbytes for one in log.channels))
"""


@pytest.fixture(scope="module")
def values() -> np.ndarray:  # type: ignore[type-arg]
    return np.round(np.cumsum(np.random.default_rng(1).normal(0.0, 0.05, LONG_SAMPLES)), 4)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, values: np.ndarray) -> SampleStore:  # type: ignore[type-arg]
    store = SampleStore(tmp_path_factory.mktemp("store") / "samples.sqlite3")
    channel = Channel("v", "V", np.arange(LONG_SAMPLES) / 1000.0, values)
    store.keep(LONG, RawLog("long.csv", (channel,), "made up"))
    return store


def drawn(trace: Trace) -> str:
    return traces_json([ChannelTrace(trace.name, trace.unit, trace.first_s, trace.last_s, trace.low, trace.high)])


def in_buckets(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    """Least and greatest of 2,000 buckets."""
    rows = values.reshape(POINTS, -1)
    return rows.min(axis=1), rows.max(axis=1)


@pytest.mark.parametrize("span", [(None, None), (1234.5678, 8765.4321), (500.0, 628.0)], ids=["all", "most", "a piece"])
def test_a_long_trace_for_the_screen(
    store: SampleStore,
    values: np.ndarray,  # type: ignore[type-arg]
    span: tuple[float | None, float | None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    drawn(store.trace(LONG, "v", *span, POINTS))  # imports

    def share() -> float:
        memory, plain, whole = least_times(
            lambda: in_buckets(values),
            lambda: in_buckets(store.samples(LONG, "v")[1]),
            lambda: drawn(store.trace(LONG, "v", *span, POINTS)),
        )
        start = time.perf_counter()
        text = drawn(store.trace(LONG, "v", *span, POINTS))
        wall = time.perf_counter() - start
        with capsys.disabled():
            print(f"\n10 million samples, {span}: trace and JSON {whole * 1e3:.1f} ms ({wall * 1e3:.1f} ms by", end="")
            print(f" the clock, {len(text) / 1e3:.0f} kB); all samples read and put in buckets", end="")
            print(f" {plain * 1e3:.1f} ms, of which the buckets {memory * 1e3:.1f} ms; ratio {whole / plain:.3f}")
        return whole / plain

    assert settled(share, MOST_OF_WHOLE) <= MOST_OF_WHOLE


def test_keeping_a_log(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_log(tmp_path / "run01.csv")
    numbers = iter(range(1000))

    def keep() -> None:
        SampleStore(tmp_path / f"{next(numbers)}.sqlite3").keep(DAY, open_log(file))

    def against_parse() -> float:
        rounds = times_in_turn(lambda: pd.read_csv(file), lambda: open_log(file), keep)
        bare, read, whole = np.median(rounds, axis=0)
        ratio = float(np.median(rounds[:, 2] / rounds[:, 0]))  # of neighbours in time: a slow moment slows both
        kept = (tmp_path / "0.sqlite3").stat().st_size
        with capsys.disabled():
            print(f"\n{MINUTES} min × {RATE_HZ} Hz × {CHANNELS} channels, {file.stat().st_size / 1e6:.0f} MB:", end="")
            print(f" bare parse {bare:.3f} s, read {read:.3f} s, read and kept {whole:.3f} s", end="")
            print(f", ratio {ratio:.2f}; kept in {kept / 1e6:.1f} MB")
        return ratio

    assert settled(against_parse, MOST_KEEPING) <= MOST_KEEPING


@pytest.fixture(scope="module")
def one_of_many(tmp_path_factory: pytest.TempPathFactory) -> tuple[SampleStore, Path]:
    folder = tmp_path_factory.mktemp("many")
    time_s = np.arange(240_000) / 100.0
    rng = np.random.default_rng(2)
    walks = [np.round(np.cumsum(rng.normal(0.0, 0.05, len(time_s))), 4) for _ in range(10)]
    store = SampleStore(folder / "samples.sqlite3")
    store.keep(DAY, RawLog("a.csv", tuple(Channel(f"c{k}", "V", time_s, v) for k, v in enumerate(walks)), "made up"))
    pd.DataFrame({"time": time_s, "v": walks[5]}).to_csv(folder / "one.csv", index=False)
    return store, folder / "one.csv"


def test_one_channel_back(one_of_many: tuple[SampleStore, Path], capsys: pytest.CaptureFixture[str]) -> None:
    store, file = one_of_many

    def against_parse() -> float:
        bare, back = least_times(lambda: pd.read_csv(file), lambda: store.samples(DAY, "c5"))
        with capsys.disabled():
            print(f"\none channel of 240,000 samples with its times: {back * 1e3:.1f} ms", end="")
            print(f", the bare parse of its two columns {bare * 1e3:.1f} ms, ratio {back / bare:.3f}")
        return back / bare

    assert settled(against_parse, MOST_ONE_CHANNEL) <= MOST_ONE_CHANNEL


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to tell a process' peak memory")
def test_memory_of_keeping(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = [sys.executable, "-c", PEAK, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    added, held = (int(word) for word in done.stdout.split())
    with capsys.disabled():
        print(f"\nmemory that keeping adds: {added / 1e6:.0f} MB for {held / 1e6:.0f} MB, {added / held:.2f} ×")
    assert added / held <= MOST_MEMORY
