"""The bend between coasting and driving or braking: unbiased, inside its interval as often as promised."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.kinks import find_kink
from server.analysis.slow_edges import grow_back, grow_on


def coast_then(after_mps2: float, bend_s: float, t: np.ndarray) -> np.ndarray:
    tau = t - bend_s
    return np.where(tau < 0.0, 15.0 - 1.0 * tau + 0.03 * tau**2, 15.0 + after_mps2 * tau)


@pytest.mark.parametrize("after", [-5.0, -2.5, 1.5])
def test_the_bend_is_found_and_its_interval_holds_it(after: float) -> None:
    t = np.arange(0.0, 8.0, 0.1)
    hits, errors = 0, []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        bend = rng.uniform(4.5, 5.5)
        v = coast_then(after, bend, t) + rng.normal(0.0, 0.15, len(t))
        kink = find_kink(t, v, np.arange(3.0, 7.0, 0.02), coasting="before", sigma_mps=0.05, sure=2.0)
        assert kink is not None
        errors.append(kink.best_s - bend)
        hits += kink.earliest_s - 0.02 <= bend <= kink.latest_s + 0.02
    assert abs(np.mean(errors)) < 0.03
    assert np.std(errors) < 0.3
    assert hits >= 180  # two standard errors: 95 % of 200 is 190, less three of its own deviations 181


def test_the_side_that_coasts_may_come_first_or_last() -> None:
    t = np.arange(0.0, 8.0, 0.1)
    v = coast_then(-4.0, 5.0, t)
    turned = find_kink(-t[::-1], v[::-1], np.arange(-7.0, -3.0, 0.02), coasting="after", sigma_mps=0.05)
    assert turned is not None
    assert turned.best_s == pytest.approx(-5.0, abs=0.03)


def test_too_few_samples_give_no_bend() -> None:
    t = np.arange(4.0)
    assert find_kink(t, t, np.array([1.5]), coasting="before", sigma_mps=0.1) is None


def test_a_slow_log_grows_to_the_last_sample_that_coasts() -> None:
    t = np.arange(0.0, 26.0)
    v = coast_then(-4.0, 18.4, t) + 3.0
    assert grow_on(t, v, 4, 16, 0.1) == 18
    assert grow_on(t, v, 4, 18, 0.1) == 18
    back = 40.0 - t[::-1]
    assert grow_back(back, v[::-1], 9, 21, 0.1) == 25 - 18
