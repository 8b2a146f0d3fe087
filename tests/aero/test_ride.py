"""Ride rates and sink against worked cases and limits."""

import numpy as np
import pytest

from server.aero.ride import (
    axle_ride_rate,
    axle_wheel_rate,
    body_sink,
    heave_rate,
)
from server.aero.suspension import axle_load_from_dampers, axle_load_from_heave_table, axle_load_from_ride_height

STOPS = [(-0.02, -400.0), (0.0, 0.0), (0.01, 300.0), (0.015, 1300.0)]


def test_springs_side_by_side_add_up() -> None:
    """2 × 39 N/mm × 0.92² = 66.0 N/mm; a heave spring of 30 N/mm beside them makes 96.0 N/mm."""
    assert axle_wheel_rate(39_000.0, 0.92) / 1000.0 == pytest.approx(66.0, abs=0.05)
    assert axle_wheel_rate(39_000.0, 0.92, STOPS, 0.005) / 1000.0 == pytest.approx(96.0, abs=0.05)


def test_heave_rate_is_the_slope_of_the_force() -> None:
    z = np.array([-0.015, -0.001, 0.002, 0.009, 0.0121])
    step = 1e-5
    slope = (axle_load_from_heave_table(z + step, STOPS) - axle_load_from_heave_table(z - step, STOPS)) / (2.0 * step)
    np.testing.assert_allclose(heave_rate(z, STOPS), slope, rtol=1e-9)
    assert heave_rate(0.015, STOPS) == pytest.approx(200_000.0)
    assert np.all(np.isnan(heave_rate([-0.021, 0.016], STOPS)))


def test_rate_is_the_slope_of_the_axles_load() -> None:
    """The load on the springs by dampers and table, differentiated, is the rate."""

    def load(z: float) -> float:
        corner = axle_load_from_dampers(0.92 * z, 0.92 * z, 39_000.0, 0.92)
        return float(corner + axle_load_from_heave_table(z, STOPS))

    for z in (-0.01, 0.004, 0.012):
        slope = (load(z + 1e-6) - load(z - 1e-6)) / 2e-6
        assert axle_wheel_rate(39_000.0, 0.92, STOPS, z) == pytest.approx(slope, rel=1e-7)


def test_sink_without_friction_links_and_growth_is_load_over_ride_rate() -> None:
    rate, load = axle_wheel_rate(39_000.0, 0.92), np.array([100.0, 486.0])
    sink = body_sink(load, load, rate, 92_000.0)
    np.testing.assert_allclose(sink, load / axle_ride_rate(rate, 92_000.0), rtol=1e-14)
    np.testing.assert_allclose(axle_load_from_ride_height(sink, rate, 184_000.0), load, rtol=1e-14)
    np.testing.assert_allclose(body_sink(load, load, rate, 92_000.0, 0.0004), sink - 0.0004, rtol=1e-12)
    # what links carry past the springs moves the tyres alone
    np.testing.assert_allclose(body_sink(load, load - 66.0, rate, 92_000.0), sink - 66.0 / rate, rtol=1e-12)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="spring_rate_n_per_m"):
        axle_wheel_rate(0.0, 0.92)
    with pytest.raises(ValueError, match="heave_table"):
        heave_rate(0.0, [(0.0, 0.0)])
    with pytest.raises(ValueError, match="rates_n_per_m"):
        body_sink(1.0, 1.0, 0.0, 90_000.0)
