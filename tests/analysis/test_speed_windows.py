"""Crossings and window times of noisy, gappy and odd coast-downs."""

import numpy as np
import pytest

from server.analysis.speed_windows import (
    CoastDown,
    IntervalOptions,
    WindowTimes,
    crossing_times,
    running_line,
    window_times,
)


def falling(rate_hz: float = 20.0, slope: float = -0.8, duration: float = 25.0) -> CoastDown:
    t = np.arange(0.0, duration, 1.0 / rate_hz)
    return CoastDown(t, 28.0 + slope * t, 1)


def test_crossings_of_a_straight_line_are_exact() -> None:
    levels = np.array([27.03, 20.0, 10.49])
    np.testing.assert_allclose(crossing_times(falling(), levels), (28.0 - levels) / 0.8, rtol=1e-12)


def test_levels_outside_the_pass_are_not_crossed() -> None:
    assert np.all(np.isnan(crossing_times(falling(), np.array([28.5, 3.0]))))


def test_noise_moves_the_averaged_crossing_to_neither_side() -> None:
    """With 0.1 m/s of noise 400 averaged crossings have no bias that shows; first crossings come early."""
    random = np.random.default_rng(3)
    clean = falling()
    averaged, first = [], []
    for _ in range(400):
        noisy = CoastDown(clean.time_s, clean.speed_mps + random.normal(0.0, 0.1, clean.time_s.size), 1)
        averaged.append(crossing_times(noisy, np.array([20.0]))[0])
        first.append(noisy.time_s[np.argmax(noisy.speed_mps < 20.0)])
    assert np.mean(averaged) == pytest.approx(10.0, abs=3.0 * np.std(averaged) / 20.0)
    assert np.std(averaged) < 0.06
    assert np.mean(first) < 10.0 - 3.0 * np.std(first) / 20.0


def test_uneven_sampling_and_the_rise_before_the_coast() -> None:
    """Samples at odd times, and acceleration at the head that must not count as time above a level."""
    random = np.random.default_rng(5)
    t = np.sort(random.uniform(-2.0, 25.0, 600))
    v = np.where(t < 0.0, 28.0 + 4.0 * t, 28.0 - 0.8 * t)
    found = crossing_times(CoastDown(t, v, 1), np.array([22.0, 15.0]))
    np.testing.assert_allclose(found, [7.5, 16.25], atol=0.01)


def test_a_crossing_inside_a_gap_is_not_read() -> None:
    one = falling()
    kept = (one.time_s < 8.0) | (one.time_s > 12.0)
    gappy = CoastDown(one.time_s[kept], one.speed_mps[kept], 1)
    found = crossing_times(gappy, np.array([24.0, 20.0, 16.0]), longest_gap_s=1.5)
    np.testing.assert_allclose(found, [5.0, np.nan, 15.0], atol=1e-9)


def test_running_line_keeps_a_line_and_quietens_noise() -> None:
    one = falling()
    np.testing.assert_allclose(running_line(one.time_s, one.speed_mps, 0.5), one.speed_mps, rtol=1e-10)
    random = np.random.default_rng(11)
    noise = random.normal(0.0, 0.1, one.time_s.size)
    left = running_line(one.time_s, one.speed_mps + noise, 0.5) - one.speed_mps
    # eleven samples a line: the middle of each has 0.1/√11 of noise
    assert np.std(left[20:-20]) == pytest.approx(0.1 / np.sqrt(11.0), rel=0.15)


def test_running_line_on_slow_samples_is_the_samples() -> None:
    one = falling(rate_hz=1.0)
    np.testing.assert_array_equal(running_line(one.time_s, one.speed_mps, 0.5), one.speed_mps)


def test_pairs_follow_the_order_driven() -> None:
    slow, fast = falling(slope=-0.7, duration=28.0), falling(slope=-0.9, duration=22.0)
    back = CoastDown(fast.time_s, fast.speed_mps, -1)
    options = IntervalOptions(reference_speeds_mps=(15.0, 20.0), half_window_mps=0.9, smoothing_s=0.0)
    windows = window_times([slow, back, fast], options)
    assert [window.speed_mps for window in windows] == [15.0, 20.0]
    np.testing.assert_allclose(windows[0].times_out_s, [1.8 / 0.7, 2.0], rtol=1e-9)
    np.testing.assert_allclose(windows[0].times_back_s, [2.0], rtol=1e-9)
    np.testing.assert_allclose(windows[0].pair_times_s, [2.0 / (0.7 / 1.8 + 0.5)], rtol=1e-9)


def test_one_hertz_satellite_speed_will_do() -> None:
    options = IntervalOptions(reference_speeds_mps=(20.0,), half_window_mps=1.6)
    (window,) = window_times([falling(rate_hz=1.0)], options)
    assert window.times_out_s[0] == pytest.approx(4.0, rel=1e-9)


@pytest.mark.parametrize(
    ("time", "speed", "direction", "named"),
    [
        ([0.0, 1.0], [20.0], 1, "one length"),
        ([0.0], [20.0], 1, "two samples"),
        ([0.0, 0.0], [20.0, 19.0], 1, "time_s must rise"),
        ([0.0, 1.0], [20.0, np.nan], 1, "finite"),
        ([0.0, 1.0], [20.0, 19.0], 2, "direction"),
    ],
)
def test_bad_passes_are_named(time: list[float], speed: list[float], direction: int, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        CoastDown(np.array(time), np.array(speed), direction)


def test_bad_times_and_options_are_named() -> None:
    with pytest.raises(ValueError, match="half_window_mps"):
        WindowTimes(1.0, 2.0, (1.0,), (1.0,))
    with pytest.raises(ValueError, match="times_out_s"):
        WindowTimes(10.0, 1.0, (0.0,), (1.0,))
    with pytest.raises(ValueError, match="step_mps"):
        IntervalOptions(step_mps=0.0)
    with pytest.raises(ValueError, match="smoothing_s"):
        IntervalOptions(smoothing_s=-1.0)
