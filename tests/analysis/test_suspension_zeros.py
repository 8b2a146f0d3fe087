"""Readings on the standing car: their mean and u, and what their manner of stopping explains."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.result import Pass
from server.analysis.suspension_zeros import ZeroSeries, fit_zeros, static_zeros
from server.testday.values import LogFile, Quantity, Recording, Run, Signal


def standing(values: np.ndarray, time_s: np.ndarray) -> tuple[Run, list[Pass]]:
    recording = Recording("a.csv", {"damper_fl": Signal(time_s, values, "d"), "throttle": Signal(time_s, values, "t")})
    run = Run(3, "A", (LogFile("a.csv"),), Quantity(70.0, 1.0), recordings=(recording,))
    return run, [Pass(3, "A", "zero", 0, 1.0, 5.0, True), Pass(3, "A", "coast-down", 1, 6.0, 9.0, True)]


def test_the_mean_its_time_and_an_honest_u() -> None:
    time = np.arange(0.0, 10.0, 0.01)
    pulls = []
    for seed in range(300):
        noise = 1e-4 * np.random.default_rng(seed).standard_normal(len(time))
        (zero,) = static_zeros(*standing(0.012 + noise, time))
        assert zero.role == "damper_fl"
        assert zero.time_s == pytest.approx(3.0)
        pulls.append((zero.value - 0.012) / zero.u)
    # u holds a slope besides the mean's own noise, so that pulls are narrower than 1
    assert 0.5 < float(np.sqrt(np.mean(np.square(pulls)))) < 1.05


def test_a_drift_while_it_stands_is_in_u() -> None:
    time = np.arange(0.0, 10.0, 0.01)
    rng = np.random.default_rng(1)
    (zero,) = static_zeros(*standing(1e-4 * time + 1e-6 * rng.standard_normal(len(time)), time))
    assert zero.u == pytest.approx(4e-4 / np.sqrt(12.0), rel=0.1)


def test_a_car_that_begins_to_roll_does_not_pull_the_zero() -> None:
    time = np.arange(0.0, 10.0, 0.01)
    noise = 2e-5 * np.random.default_rng(2).standard_normal(len(time))
    rolled = np.where(time > 4.5, 0.012 - 0.001, 0.012)
    (zero,) = static_zeros(*standing(rolled + noise, time))
    assert zero.value == pytest.approx(0.012, abs=1e-5)


def test_a_stand_of_less_than_a_second_has_no_zero() -> None:
    time = np.arange(0.0, 1.5, 0.01)
    assert static_zeros(*standing(np.zeros(len(time)), time)) == ()


def zeros(drift_mm: float, friction_mm: float, runs: int = 4, step_mm: float = 0.0) -> ZeroSeries:
    """Four stands a run; joints stand `friction_mm` apart after a stop from speed and after shunting."""
    rng = np.random.default_rng(5)
    run = np.repeat(np.arange(1, runs + 1), 4)
    time = np.tile([2.0, 35.0, 48.0, 80.0], runs)
    manner = np.tile(["first", "braked", "shunted", "braked"], runs)
    value = 5.0 + rng.normal(0.0, 0.3, runs)[run - 1] + friction_mm * (manner == "braked")
    value = (
        value + drift_mm * time / 78.0 + step_mm * ((run == 2) & (time > 40.0)) + 0.01 * rng.standard_normal(len(run))
    )
    return ZeroSeries(run, time, 1e-3 * value, manner)


def test_joint_friction_that_stops_alike_is_no_drift() -> None:
    fit = fit_zeros(zeros(0.0, 0.8))
    assert fit is not None
    assert all(abs(change) < 1e-4 for change, _, _ in fit.drift.values())


def test_a_drift_of_every_run_is_found_with_its_size() -> None:
    fit = fit_zeros(zeros(0.5, 0.8))
    assert fit is not None
    assert sorted(fit.drift) == [1, 2, 3, 4]
    for change, p, jumped in fit.drift.values():
        assert change == pytest.approx(5e-4, abs=5e-5)
        assert p < 1e-4
        assert not jumped


def test_a_step_within_one_run_is_a_jump_of_that_run() -> None:
    fit = fit_zeros(zeros(0.0, 0.3, step_mm=1.0))
    assert fit is not None
    assert set(fit.drift) == {2}
    assert fit.drift[2][2]


def test_two_zeros_tell_no_drift() -> None:
    few = ZeroSeries(np.array([1, 1]), np.array([0.0, 60.0]), np.array([0.0, 0.001]), np.array(["first", "braked"]))
    assert fit_zeros(few) is None
