"""The Hampel rule as published, and spikes in a speed that rises and falls."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.spikes import find_spikes, hampel


def by_hand(values: np.ndarray, half: int) -> np.ndarray:
    """40 CFR 1037.528: median and 1.4826 · MAD of 61 samples at 10 Hz, at least 31 at the ends, 3 sigma."""
    flags = []
    for i, value in enumerate(values):
        window = values[max(0, i - half) : i + half + 1]
        middle = np.median(window)
        flags.append(abs(value - middle) > 4.4478 * np.median(np.abs(window - middle)))
    return np.array(flags)


@pytest.mark.parametrize("seed", range(5))
def test_the_published_rule_sample_by_sample(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(0.0, 1.0, 400)
    values[rng.integers(0, 400, 12)] += rng.choice([-1.0, 1.0], 12) * 8.0
    np.testing.assert_array_equal(hampel(values, 30), by_hand(values, 30))


def test_windows_at_the_ends_hold_half_as_many_samples() -> None:
    # 31 samples at the very end: 15 zeros beside 16 ones leave the median 1 and MAD 0, so zeros stand out
    values = np.concatenate([np.zeros(15), np.ones(16), np.full(60, 1.0)])
    assert hampel(values, 30)[0]


def test_a_normal_channel_loses_what_a_normal_law_says() -> None:
    share = np.mean(hampel(np.random.default_rng(3).normal(size=20000), 30))
    # two-sided 3 sigma of a normal law is 0.0027; the MAD of 61 samples scatters and lifts it
    assert 0.002 < share < 0.008


def test_wrong_window_is_named() -> None:
    with pytest.raises(ValueError, match="half_window"):
        hampel(np.zeros(10), 0)


@pytest.mark.parametrize("rate", [10.0, 50.0, 100.0])
def test_spikes_in_a_coast_down_are_found_and_nothing_else(rate: float) -> None:
    rng = np.random.default_rng(7)
    t = np.arange(0.0, 60.0, 1.0 / rate)
    v = np.where(t < 15.0, 1.8 * t, 27.0 * np.exp(-(t - 15.0) / 25.0)) + rng.normal(0.0, 0.1, len(t))
    where = np.array([round(20 * rate), round(33.3 * rate), round(45 * rate)])
    spiked = v.copy()
    spiked[where] += np.array([4.0, -3.0, 5.0])
    np.testing.assert_array_equal(np.flatnonzero(find_spikes(t, spiked, 0.5, 12.0)), where)
    assert not find_spikes(t, v, 0.5, 12.0).any()


def test_a_quiet_channel_has_a_floor() -> None:
    t = np.arange(0.0, 30.0, 0.1)
    v = np.full(len(t), 12.0)
    v[150] += 0.3
    assert not find_spikes(t, v, 0.5).any()
    v[150] += 0.6
    assert find_spikes(t, v, 0.5)[150]


def test_slow_parts_can_be_left_alone() -> None:
    t = np.arange(0.0, 30.0, 0.05)
    v = np.full(len(t), 3.0)
    v[300] = 1.0
    assert find_spikes(t, v, 0.5)[300]
    assert not find_spikes(t, v, 0.5, only_above=4.0).any()


def test_a_short_record_has_no_spikes() -> None:
    assert not find_spikes(np.arange(5.0), np.array([0.0, 0.0, 99.0, 0.0, 0.0]), 0.5).any()
