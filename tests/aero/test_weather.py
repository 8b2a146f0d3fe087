"""Air density between readings."""

import numpy as np
import pytest

from server.aero.air import air_density, density_with_u
from server.aero.weather import AirReadings, air_at, time_from_nearest_reading

MORNING = AirReadings(
    clock_s=np.array([32_400.0, 36_000.0]),
    pressure_pa=np.array([100_900.0, 100_700.0]),
    temperature_k=np.array([290.15, 296.15]),
    humidity=np.array([0.60, 0.40]),
    pressure_u_pa=50.0,
    temperature_u_k=np.array([0.5, 1.0]),
)


def test_at_a_reading_it_is_that_reading() -> None:
    density, u = air_at(MORNING, MORNING.clock_s)
    expected = density_with_u(
        MORNING.pressure_pa, MORNING.temperature_k, MORNING.humidity,
        pressure_u_pa=50.0, temperature_u_k=[0.5, 1.0],
    )  # fmt: skip
    np.testing.assert_allclose([density, u], expected, rtol=1e-14)


def test_half_way_it_is_the_air_half_way() -> None:
    density, _ = air_at(MORNING, 34_200.0)
    assert density == pytest.approx(air_density(100_800.0, 293.15, 0.50), rel=1e-14)


def test_uncertainty_of_one_instrument_does_not_average_away() -> None:
    """Two readings of one thermometer share its error: half way u(T) is 0.75 K, not 0.56 K."""
    _, u = air_at(MORNING, 34_200.0)
    _, expected = density_with_u(100_800.0, 293.15, 0.50, pressure_u_pa=50.0, temperature_u_k=0.75)
    assert u == pytest.approx(expected, rel=1e-14)


def test_before_and_after_it_is_held() -> None:
    density, _ = air_at(MORNING, [0.0, 32_400.0, 36_000.0, 80_000.0])
    assert density[0] == density[1]
    assert density[2] == density[3]


def test_age_of_the_nearest_reading() -> None:
    np.testing.assert_allclose(
        time_from_nearest_reading(MORNING, [[32_300.0, 34_300.0], [36_000.0, 43_200.0]]),
        [[100.0, 1700.0], [0.0, 7200.0]],
    )


def test_readings_that_do_not_fit_are_named() -> None:
    one = np.array([1.0])
    with pytest.raises(ValueError, match="at least one"):
        AirReadings(one[:0], one[:0], one[:0], one[:0])
    with pytest.raises(ValueError, match="clock_s must rise"):
        AirReadings(np.array([2.0, 1.0]), np.ones(2), np.ones(2), np.ones(2))
    with pytest.raises(ValueError, match="humidity"):
        AirReadings(np.array([1.0, 2.0]), np.ones(2), np.ones(2), one)
