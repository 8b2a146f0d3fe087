"""A whole fit against the bare parser: a log of 20 min at 100 Hz with 40 channels that holds eight coast-downs.

Times are processor seconds of the same run; the figures are printed. The fit proper (the joint posterior and its
smoother) is told apart from everything around it: reading, roles, checks, passes, blocks.
"""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.simulate import simulate_day
from server.analysis.simulate_plan import default_plan
from server.inference.warm import warm
from server.readers.load_day import load_day
from server.testday.folder import write_folder
from server.testday.values import LogFile
from tests.benchmarks.test_reading import CHANNELS, MINUTES, RATE_HZ
from tests.ratios import least_times, seconds, settled

MOST_AROUND, MOST_MEMORY = 3.0, 3.0
UNITS = {"throttle": "%", "brake_pressure": "bar", "latitude": "deg", "longitude": "deg"}
SCALES = {"throttle": 100.0, "brake_pressure": 1e-5, "latitude": 180.0 / np.pi, "longitude": 180.0 / np.pi}
PEAK = """
import sys
from pathlib import Path
from server.analysis.day_fit import fit_day
from server.readers.load_day import load_day
from server.inference.warm import warm

def peak():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))

warm()
fit_day(load_day(Path(sys.argv[1])))
before = peak()
fit_day(load_day(Path(sys.argv[2])))
print(peak() - before)
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day folder whose one log has 40 channels, the fit's own among them."""
    return make_folder(tmp_path_factory.mktemp("day") / "big", MINUTES * 60.0)


def make_folder(path: Path, length_s: float) -> Path:
    pairs = 4 if length_s > 600.0 else 1
    day = simulate_day(default_plan(pairs=pairs, compare=False), seed=3).day
    run = day.runs[0]
    signals = {role: s for r in run.recordings for role, s in r.signals.items()}
    grid = np.arange(0.0, length_s, 1.0 / RATE_HZ)
    table = {"time [s]": grid}
    for role in ("wheel_speed_fl", "wheel_speed_fr", "gps_speed", *UNITS):
        if role in signals:
            values = np.interp(grid, signals[role].time_s, signals[role].values) * SCALES.get(role, 3.6)
            table[f"{role} [{UNITS.get(role, 'km/h')}]"] = values
    rng = np.random.default_rng(1)
    for k in range(CHANNELS - len(table) + 1):
        table[f"channel {k} [V]"] = 2.5 + np.cumsum(rng.normal(0.0, 0.002, len(grid)))
    write_folder(
        replace(day, runs=(replace(run, logs=(LogFile("logs/run01.csv"),), recordings=()),), channels={}), path
    )
    (path / "logs").mkdir(exist_ok=True)
    decimals = {name: 7 if "[deg]" in name else 4 for name in table}
    pd.DataFrame({k: np.round(v, decimals[k]) for k, v in table.items()}).to_csv(
        path / "logs" / "run01.csv", index=False
    )
    return path


def test_time_around_the_fit_and_of_the_fit(folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch) -> None:
    from server.analysis import day_fit

    warm()
    spent: list[float] = []

    def timed(function):
        def call(*args):
            answer = []
            spent.append(seconds(lambda: answer.append(function(*args))))
            return answer[0]

        return call

    monkeypatch.setattr(day_fit, "solve_day", timed(day_fit.solve_day))
    monkeypatch.setattr(day_fit, "pass_fits", timed(day_fit.pass_fits))
    log = folder / "logs" / "run01.csv"

    def around() -> float:
        spent.clear()
        bare, whole = least_times(lambda: pd.read_csv(log), lambda: fit_day(load_day(folder)))
        fit = min(spent[::2]) + min(spent[1::2])
        with capsys.disabled():
            print(f"\n{log.stat().st_size / 1e6:.0f} MB: bare parse {bare:.2f} s, whole fit {whole:.2f} s", end="")
            print(f", of which the posterior {fit:.2f} s; around it {(whole - fit) / bare:.2f} × the parse")
        return (whole - fit) / bare

    assert len(fit_day(load_day(folder)).setups[0].fits) == 8
    assert settled(around, MOST_AROUND) <= MOST_AROUND


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc to tell a process' peak memory")
def test_memory_of_a_fit(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    small = make_folder(tmp_path / "small", 150.0)
    command = [sys.executable, "-c", PEAK, str(small), str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    ratio = int(done.stdout) / (folder / "logs" / "run01.csv").stat().st_size
    with capsys.disabled():
        print(f"\nmemory that a fit adds: {ratio:.2f} × the file")
    assert 0.5 < ratio <= MOST_MEMORY
