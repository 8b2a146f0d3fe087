"""Zeros of load sensors: tied to the standing car, drifting within a run, arbitrary between runs."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from server.analysis.axle_spring import axle_spring
from server.analysis.load_data import DAMPER_FRONT, StaticReading
from server.analysis.load_priors import unit_slope, unit_zero, zero_prior
from server.testday.values import Axle, Quantity

AXLE = Axle(
    axle_inertia_kgm2=Quantity(0.4),
    tyre_radius_m=Quantity(0.23),
    spring_rate_n_per_m=Quantity(40_000.0),
    motion_ratio=Quantity(0.9),
    joint_friction_n=Quantity(10.0, 0.0),
)
CAR = SimpleNamespace(front=AXLE, rear=AXLE)
SPRING = axle_spring(AXLE, 1400.0)


def passes(*places: tuple[int, float], kind: str = "coast-down"):
    return [
        SimpleNamespace(of=SimpleNamespace(run=r, kind=kind), time_s=np.array([t - 5.0, t + 5.0])) for r, t in places
    ]


def prior(where, static=(), drift=5e-5):
    return zero_prior(where, static, DAMPER_FRONT, CAR, SPRING, drift)


def test_without_a_standing_reading_the_level_is_open() -> None:
    mean, covariance = prior(passes((1, 60.0), (1, 120.0)))
    np.testing.assert_array_equal(mean, 0.0)
    assert np.sqrt(covariance[0, 0]) * unit_zero(2) == pytest.approx(0.02 * 64_800.0, rel=0.01)
    apart = covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]  # passes driven alike share the friction
    assert np.sqrt(apart) * unit_zero(2) < 20.0


def test_a_standing_reading_ties_the_pass_to_what_joints_hold() -> None:
    static = [StaticReading(DAMPER_FRONT, 1, 10.0, 250.0)]
    mean, covariance = prior(passes((1, 60.0), (2, 60.0)), static)
    assert mean[0] * unit_zero(2) == pytest.approx(250.0, rel=0.01)
    assert np.sqrt(covariance[0, 0]) * unit_zero(2) == pytest.approx(20.0 * np.sqrt(2.0), rel=0.05)
    assert np.sqrt(covariance[1, 1]) * unit_zero(2) > 1000.0  # another run's zero stays arbitrary


def test_two_readings_tell_a_drift() -> None:
    free = replace(AXLE, joint_friction_n=Quantity(0.5, 0.0))
    static = [StaticReading(DAMPER_FRONT, 1, t, 0.2 * t) for t in (0.0, 100.0, 200.0, 300.0)]
    mean, covariance = zero_prior(
        passes((1, 150.0)), static, DAMPER_FRONT, SimpleNamespace(front=free, rear=free), SPRING, 2e-3
    )
    assert mean[1] * unit_slope(2) == pytest.approx(0.2, abs=0.02)
    assert mean[0] * unit_zero(2) == pytest.approx(30.0, abs=1.0)
    assert np.sqrt(covariance[1, 1]) * unit_slope(2) < 0.2  # of 0.37 before the readings


def test_the_covariance_is_one() -> None:
    static = [StaticReading(DAMPER_FRONT, 1, 10.0, 1.0), StaticReading(DAMPER_FRONT, 2, 10.0, -1.0)]
    _, covariance = prior(passes((1, 40.0), (1, 90.0), (2, 50.0), (3, 10.0)), static, 5e-4)
    np.testing.assert_allclose(covariance, covariance.T, atol=1e-9)
    assert np.linalg.eigvalsh(covariance).min() > 0.0
