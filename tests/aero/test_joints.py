"""Joint friction: its lag, its loop, its band."""

import numpy as np
import pytest

from server.aero.joints import load_through_joints


def test_joints_lag_by_their_friction_in_a_falling_load() -> None:
    load = np.concatenate([np.linspace(0.0, 900.0, 400), np.linspace(900.0, 100.0, 2000)])
    held = load_through_joints(load, 7.5)
    np.testing.assert_allclose(held[500:2400] - load[500:2400], 15.0, rtol=1e-12)
    assert held[399] == pytest.approx(885.0)
    assert np.all(np.abs(held - load) <= 15.0 + 1e-9)
    np.testing.assert_array_equal(load_through_joints(load, 0.0), load)


def test_a_closed_loop_loses_four_friction_times_travel() -> None:
    """Over a full swing between -A and A the load against the springs' travel encloses 4 · 2 f · (A - 2 f)/K."""
    amplitude, friction, rate = 500.0, 10.0, 60_000.0
    load = amplitude * np.sin(np.linspace(0.0, 6.0 * np.pi, 60_001))
    travel = load_through_joints(load, friction) / rate
    last = slice(40_000, 60_001)  # the last swing
    work = abs(float(np.sum(0.5 * (load[last][1:] + load[last][:-1]) * np.diff(travel[last]))))
    assert work == pytest.approx(4.0 * 2.0 * friction * (amplitude - 2.0 * friction) / rate, rel=1e-4)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="joint_friction_n"):
        load_through_joints([1.0], -1.0)
    with pytest.raises(ValueError, match="axle_load_n"):
        load_through_joints([], 1.0)
