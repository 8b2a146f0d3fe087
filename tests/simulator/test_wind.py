"""The gusts and the slow wind have the statistics that the scenario promises."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.motion import COLUMNS, HOLD, RATE_HZ, Leg, drive_leg
from tests.simulator.scenario import Scenario
from tests.simulator.test_motion import FLAT, leg
from tests.simulator.wind import GUST_RANGES, draw_gust_law, draw_slow_wind, ou_path


def parked_gusts(inputs: Leg, legs: int = 400, seconds: float = 60.0) -> np.ndarray:
    """Head wind on a car that stands still: independent stretches, shape (legs, rows)."""
    rng = np.random.default_rng(11)
    rows = []
    for _ in range(legs):
        kicks = rng.standard_normal((int(seconds * RATE_HZ), 4))
        out = drive_leg(inputs, FLAT, kicks, rng.standard_normal(4), 90.0)
        rows.append(out[:, COLUMNS.index("head")])
    return np.array(rows)


def correlation(gusts: np.ndarray, lag_s: float) -> float:
    lag = int(lag_s * RATE_HZ)
    return float(np.mean(gusts[:, :-lag] * gusts[:, lag:]) / np.mean(gusts**2))


@pytest.mark.parametrize("time_s", [4.0, 15.0])
def test_gusts_fixed_in_time_are_an_ornstein_uhlenbeck_process(time_s: float) -> None:
    gusts = parked_gusts(leg(gust_sigma=0.8, gust_time=time_s, hold_before=1e3))
    assert np.std(gusts) == pytest.approx(0.8, rel=0.04)
    assert correlation(gusts, time_s) == pytest.approx(np.exp(-1.0), abs=0.05)
    assert correlation(gusts, 0.2 * time_s) == pytest.approx(np.exp(-0.2), abs=0.02)


def test_gusts_of_a_length_pass_faster_at_speed() -> None:
    """At a steady air speed U (a wind on a parked car) the correlation time is ℓ/U."""
    gusts = parked_gusts(
        leg(gust_sigma=0.2, gust_length=100.0, in_length=True, slow_head=20.0, hold_before=1e3)
    )
    assert correlation(gusts - 20.0, 5.0) == pytest.approx(np.exp(-1.0), abs=0.05)


def test_intermittent_gusts_keep_the_variance_and_have_heavy_tails() -> None:
    gusts = parked_gusts(
        leg(gust_sigma=0.8, gust_time=4.0, intermittency=0.4, fast_share=0.2, hold_before=1e3), legs=600
    )
    assert np.std(gusts) == pytest.approx(0.8, rel=0.05)
    assert np.mean(gusts**4) / np.mean(gusts**2) ** 2 > 3.8


@pytest.mark.parametrize("wind", ["calm", "gusty", "mixed"])
def test_gust_strength_and_time_stay_in_their_ranges(wind: str) -> None:
    laws = [draw_gust_law(np.random.default_rng(k), Scenario(wind=wind)) for k in range(300)]  # type: ignore[arg-type]
    low, high = GUST_RANGES[wind]
    assert all(low <= law.sigma_mps <= high and 3.0 <= law.time_s <= 30.0 for law in laws)
    assert 0.4 < np.mean([law.in_length for law in laws]) < 0.6
    assert np.ptp([law.sigma_mps for law in laws]) > 0.9 * (high - low)


def test_slow_wind_blows_from_everywhere_and_wanders() -> None:
    days = [draw_slow_wind(np.random.default_rng(k), Scenario(), 0.0, 7200.0) for k in range(400)]
    mean = np.array([[d.head_out.mean(), d.cross.mean()] for d in days])
    assert np.all(np.abs(mean.mean(axis=0)) < 0.25)
    assert 1.2 < np.mean(np.hypot(*mean.T)) < 1.8
    assert 0.05 < np.mean([d.head_out.std() for d in days]) < 0.6


def test_the_ornstein_uhlenbeck_path_is_stationary_from_its_start() -> None:
    rng = np.random.default_rng(5)
    paths = np.array([ou_path(rng, 50, 1.0, 20.0, 2.0) for _ in range(4000)])
    assert paths[:, 0].std() == pytest.approx(2.0, rel=0.04)
    assert paths[:, -1].std() == pytest.approx(2.0, rel=0.04)
    assert np.mean(paths[:, 0] * paths[:, 20]) / 4.0 == pytest.approx(np.exp(-1.0), abs=0.05)


def test_a_parked_car_stays_parked() -> None:
    inputs = leg(gust_sigma=0.8, hold_before=1e3)
    rng = np.random.default_rng(1)
    rows = drive_leg(inputs, FLAT, rng.standard_normal((2000, 4)), rng.standard_normal(4), 90.0)
    assert np.all(rows[:, COLUMNS.index("phase")] == HOLD)
    assert np.all(rows[:, 0] == 0.0)
