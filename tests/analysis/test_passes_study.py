"""Several hundred made-up runs: how often the finder misses, invents, or lets drive and brake into a pass.

Drawn at random: satellite 1 to 25 Hz with 0.05–0.3 m/s of noise, wheels 10 to 200 Hz in steps of 0.01 to
0.28 m/s; gusts to 1.2 m/s, wind, slope, dropouts, spikes; ends by brake, throttle and rest.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.analysis.pass_study import (
    Tally,
    study_in_gear,
    study_speed_only,
    study_with_channels,
)

pytestmark = pytest.mark.study


@pytest.fixture(scope="module")
def from_speed() -> Tally:
    return study_speed_only(240)


@pytest.fixture(scope="module")
def from_channels() -> Tally:
    return study_with_channels(100)


def test_the_speed_alone_finds_99_in_100_and_invents_none(from_speed: Tally) -> None:
    assert from_speed.true_passes > 600
    assert len(from_speed.missed) <= 0.01 * from_speed.true_passes, from_speed.missed
    assert len(from_speed.false) <= 0.01 * from_speed.found, from_speed.false


def test_the_speed_alone_lets_hardly_any_drive_or_brake_in(from_speed: Tally) -> None:
    outside = np.array([c[0] for c in from_speed.contamination], dtype=float)
    assert from_speed.worst_s(slower_than_hz=5.0) <= 0.3
    assert from_speed.worst_s(faster_than_hz=5.0) <= 1.2
    assert np.mean(outside > 0.02) < 0.02


def test_the_speed_alone_places_ends_within_half_a_second(from_speed: Tally) -> None:
    for off in (from_speed.start_late_s, from_speed.end_early_s):
        assert abs(np.median(off)) < 0.15
        assert np.mean(np.abs(off) < 0.5) > 0.85


def test_with_throttle_and_brake_nothing_is_missed_invented_or_let_in(from_channels: Tally) -> None:
    assert from_channels.true_passes > 250
    assert len(from_channels.missed) <= 0.01 * from_channels.true_passes, from_channels.missed
    assert from_channels.false == []
    assert from_channels.worst_s() <= 0.02
    for off in (from_channels.start_late_s, from_channels.end_early_s):
        assert np.mean(np.abs(off) < 0.15) > 0.98


def test_lifting_in_gear_is_turned_down_by_the_speed_alone() -> None:
    tally = study_in_gear(60)
    assert tally.true_passes > 150
    assert tally.found <= 0.02 * tally.true_passes, tally.false
