"""Reading against the bare parser: the same file, the same run.

The file is a made-up log of 20 min at 100 Hz with 40 channels. Times are processor seconds, the least of
several rounds taken in turn, so that neighbours on the machine do not decide. The figures are printed.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from server.readers import open_log
from tests.ratios import least_times, settled

MINUTES, RATE_HZ, CHANNELS = 20, 100, 40
MOST_TIME, MOST_MEMORY = 3.0, 3.0
PEAK = """
import sys
from server.readers.csv_log import read_csv_log

def peak():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))

read_csv_log(b"time,v\\n0.0,1\\n0.1,2\\n0.2,3\\n", name="small")
before = peak()
log = read_csv_log(sys.argv[1], name="big")
print(peak() - before)
"""


def write_log(path: Path, stamp=lambda seconds: f"{seconds:.2f}") -> Path:
    """Write the log: a drifting walk in every channel, four decimals."""
    rng = np.random.default_rng(20)
    count = MINUTES * 60 * RATE_HZ
    block = 10_000
    level = np.full(CHANNELS, 30.0)
    with path.open("w") as file:
        file.write("time," + ",".join(f"channel {k} [V]" for k in range(CHANNELS)) + "\n")
        for start in range(0, count, block):
            walk = level + np.cumsum(rng.normal(0, 0.05, (block, CHANNELS)), axis=0)
            level = walk[-1]
            for i, row in enumerate(walk):
                file.write(stamp((start + i) / RATE_HZ) + "," + ",".join(f"{v:.4f}" for v in row) + "\n")
    return path


@pytest.fixture(scope="module")
def log_file(tmp_path_factory) -> Path:
    return write_log(tmp_path_factory.mktemp("log") / "run01.csv")


def compare(path: Path, what: str, capsys) -> float:
    """Whole reading over bare parse, printed."""
    bare, whole = least_times(lambda: pd.read_csv(path), lambda: open_log(path))
    with capsys.disabled():
        print(f"\n{what}, {path.stat().st_size / 1e6:.0f} MB: bare parse {bare:.3f} s", end="")
        print(f", whole reading {whole:.3f} s, ratio {whole / bare:.2f}")
    return whole / bare


def test_reading_time(log_file, capsys):
    assert settled(lambda: compare(log_file, "seconds in the time column", capsys), MOST_TIME) <= MOST_TIME


def test_reading_time_with_a_clock(tmp_path, capsys):
    """A clock time in every line, which the bare parser leaves as words."""

    def clock(seconds: float) -> str:
        return f"{9 + int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}:{seconds % 60:05.2f}"

    path = write_log(tmp_path / "clock.csv", clock)
    assert settled(lambda: compare(path, "clock times in the time column", capsys), MOST_TIME) <= MOST_TIME


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to tell a process' peak memory")
def test_reading_memory(log_file, capsys):
    command = [sys.executable, "-c", PEAK, str(log_file)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    ratio = int(done.stdout) / log_file.stat().st_size
    with capsys.disabled():
        print(f"\nmemory that reading adds: {ratio:.2f} × the file")
    assert 0.5 < ratio <= MOST_MEMORY
