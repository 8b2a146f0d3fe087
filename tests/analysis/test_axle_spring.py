"""An axle's springs as one curve: rates by hand, virtual work, inverse."""

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.axle_spring import axle_spring, damper_of_wheel, wheel_of_damper, wheel_rate_rel_u
from server.testday.values import Axle, Quantity

PLAIN = Axle(
    axle_inertia_kgm2=Quantity(0.4),
    tyre_radius_m=Quantity(0.23),
    spring_rate_n_per_m=Quantity(40_000.0, 400.0),
    motion_ratio=Quantity(0.9, 0.009),
)
RISING = ((-0.03, 0.80), (0.0, 0.90), (0.03, 1.05))


def test_a_constant_ratio_gives_twice_k_mr_squared() -> None:
    spring = axle_spring(PLAIN, 1400.0)
    assert spring is not None
    assert spring.rate_n_per_m == pytest.approx(2.0 * 40_000.0 * 0.81, rel=1e-6)
    travel = np.array([-0.02, 0.0, 0.015])
    np.testing.assert_allclose(spring.force(travel), 64_800.0 * travel, atol=1e-6)
    np.testing.assert_allclose(spring.travel(spring.force(travel)), travel, atol=1e-9)


def test_a_ratio_that_changes_does_the_springs_work() -> None:
    """∫ F dz from standing = work of both springs from their static compression (virtual work)."""
    axle, static = replace(PLAIN, motion_ratio=None, motion_ratio_table=RISING), 1400.0
    spring = axle_spring(axle, static)
    assert spring is not None
    z = np.linspace(0.0, 0.025, 2001)
    d = damper_of_wheel(axle, z)
    carried = 0.9 * static  # by the springs, standing
    preload = 0.5 * carried / 0.9  # in one spring
    stored = 2.0 * (preload * d + 0.5 * 40_000.0 * d**2)
    middle = 0.5 * (spring.force(z[1:]) + spring.force(z[:-1]))
    work = np.concatenate([[0.0], np.cumsum(middle * np.diff(z))])
    np.testing.assert_allclose(work + carried * z, stored, rtol=2e-3, atol=2e-3)
    np.testing.assert_allclose(wheel_of_damper(axle, d), z, atol=1e-6)


def test_heave_spring_and_bump_stop_add_to_the_corners() -> None:
    axle = replace(PLAIN, heave_table=((0.005, 0.0), (0.010, 0.0), (0.020, 900.0)))
    spring = axle_spring(axle, 1400.0)
    assert spring is not None
    assert spring.force(np.array([0.015]))[0] == pytest.approx(64_800.0 * 0.015 + 450.0, rel=2e-3)
    assert spring.force(np.array([0.004]))[0] == pytest.approx(64_800.0 * 0.004, rel=1e-6)
    alone = axle_spring(replace(PLAIN, spring_rate_n_per_m=None, heave_table=((-0.02, -800.0), (0.02, 800.0))), 1400.0)
    assert alone is not None
    assert alone.rate_n_per_m == pytest.approx(40_000.0, rel=1e-3)


def test_no_rate_no_spring() -> None:
    assert axle_spring(replace(PLAIN, spring_rate_n_per_m=None), 1400.0) is None


def test_u_of_the_wheel_rate() -> None:
    assert wheel_rate_rel_u(replace(PLAIN, wheel_rate_rel_u=0.013)) == 0.013
    assert wheel_rate_rel_u(PLAIN) == pytest.approx(np.hypot(0.01, 0.02))
    for stated in (None, 0.01):  # nobody gave a ratio: what is stated of the rate does not make it known
        assert wheel_rate_rel_u(replace(PLAIN, motion_ratio=None, wheel_rate_rel_u=stated)) > 0.25
