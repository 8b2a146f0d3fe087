"""How fast raw bus logs become channels against bare iteration by python-can: the same file, the same process."""

import can
import numpy as np
import pytest

from server.readers import open_log
from tests.ratios import least_times, settled
from tests.readers.buses import GPS, WHEELS, database, message, write

FRAMES = 60_000
MOST = 3.0


@pytest.mark.parametrize("form", ["log", "asc", "blf"])
def test_reading_takes_little_more_than_python_can_alone(tmp_path, form, capsys):
    data = np.random.default_rng(1).bytes(8 * FRAMES)
    frames = [
        message((GPS, WHEELS, 0x300)[i % 3], data[8 * i : 8 * i + 8], 1_778_320_800.0 + i / 1000) for i in range(FRAMES)
    ]
    path, signals = write(tmp_path / f"run01.{form}", frames), database(tmp_path)
    jobs = (lambda: sum(1 for _ in can.LogReader(path)), lambda: open_log(path, signals=signals))

    def against_bare() -> float:
        bare, whole = least_times(*jobs, rounds=3)
        with capsys.disabled():
            print(f"\n{FRAMES:,} frames, {form}: python-can alone {bare:.2f} s, channels {whole:.2f} s", end="")
            print(f", ratio {whole / bare:.2f}; 1.2 million frames {whole * 1.2e6 / FRAMES:.1f} s")
        return whole / bare

    assert settled(against_bare, MOST) <= MOST
