"""The pitot tube of the hostile days: it reads the air that the car met, and touches nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.simulator import Scenario, draw_day
from tests.simulator.pitot import YEAR_DENSITY

SOUND = Scenario(pairs=1, wind="calm", airspeed="sound")


def test_the_same_day_without_a_tube_is_the_same_day() -> None:
    probed, bare = draw_day(5, SOUND), draw_day(5, replace(SOUND, airspeed=""))
    assert probed.truth == bare.truth
    for ours, theirs in zip(probed.day.runs, bare.day.runs, strict=True):
        signals = dict(ours.recordings[0].signals)
        assert signals.pop("airspeed").values.max() > 10.0
        assert signals.keys() == theirs.recordings[0].signals.keys()
        for role, signal in theirs.recordings[0].signals.items():
            np.testing.assert_array_equal(signals[role].values, signal.values)


@pytest.mark.parametrize("seed", [6, 7, 8])
def test_it_reads_the_air_speed_but_for_scale_zero_and_delay(seed: int) -> None:
    hostile = draw_day(seed, SOUND)
    for run, true in zip(hostile.day.runs, hostile.runs, strict=True):
        read = run.recordings[0].signals["airspeed"]
        met = np.interp(read.time_s, true.time_s, np.hypot(true.speed + true.head_mps, true.cross_mps))
        fast = np.interp(read.time_s, true.time_s, true.speed) > 12.0
        shape = np.corrcoef(read.values[fast], met[fast])[0, 1]
        scale = np.median(read.values[fast] / met[fast]) / np.sqrt(hostile.truth["density"][0] / YEAR_DENSITY)
        assert shape > 0.95
        assert abs(scale - 1.0) < 0.25


def test_a_scale_that_is_known_is_stated_and_near() -> None:
    hostile = draw_day(9, replace(SOUND, airspeed_u=0.006))
    assert hostile.day.car.calibration["airspeed"].gain_rel_u == 0.006
    assert "airspeed" not in draw_day(9, SOUND).day.car.calibration


def test_a_blocked_tube_stands_still() -> None:
    hostile = draw_day(10, replace(SOUND, airspeed="blocked", passes_per_run=1, pairs=2))
    last = hostile.day.runs[-1].recordings[0].signals["airspeed"].values
    assert np.ptp(last) < 12.0


def test_airspeed_is_among_what_there_is() -> None:
    with pytest.raises(ValueError, match="airspeed"):
        Scenario(airspeed="perfect")
