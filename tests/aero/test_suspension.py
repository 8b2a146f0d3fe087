"""Springs, motion ratios and ride heights against textbook cases."""

import numpy as np
import pytest

from server.aero.suspension import (
    anti_squat_lift,
    axle_load_from_dampers,
    axle_load_from_heave_table,
    axle_load_from_push_rods,
    axle_load_from_ride_height,
    damper_travel,
    heights_at_axles,
    ride_frequency,
    series_rate,
    wheel_rate,
    wheel_travel,
)
from tests.published import table

POUND_FORCE, INCH, POUND = 4.4482216152605, 0.0254, 0.45359237
RISING = [(-0.02, 0.80), (0.0, 0.90), (0.01, 0.95), (0.03, 1.10)]


def test_gillespie_ride_rates() -> None:
    """Ride rates 127.75 and 92.3 lb/in, frequencies 1.14 and 1.11 Hz (from memory; CITATION of textbooks)."""
    rows = table("textbooks", "ride_rates")
    unit = POUND_FORCE / INCH
    ride = series_rate(rows["suspension_lb_per_in"] * unit, rows["tyre_lb_per_in"] * unit)
    np.testing.assert_allclose(ride / unit, rows["ride_lb_per_in"], rtol=0.0, atol=0.05)
    np.testing.assert_allclose(
        ride_frequency(ride, rows["load_lb"] * POUND), rows["frequency_hz"], rtol=0.0, atol=5e-3
    )


def test_one_hertz_is_ten_inches_of_deflection() -> None:
    """A static deflection of 9.8 inches rides at 1 Hz (Gillespie, from memory)."""
    assert ride_frequency(9.80665 / (9.8 * INCH), 1.0) == pytest.approx(1.0, abs=5e-3)


def test_wheel_rate_by_virtual_work() -> None:
    """k MR²: 39 N/mm at 0.92 are 33.0 N/mm; the load k d MR on a travel d/MR is the same rate."""
    rate = wheel_rate(39_000.0, 0.92)
    assert rate / 1000.0 == pytest.approx(33.0, abs=0.05)
    load = axle_load_from_dampers(0.01, 0.01, 39_000.0, 0.92)
    assert load == pytest.approx(2.0 * float(rate) * 0.01 / 0.92, rel=1e-14)


def test_roll_cancels_in_the_mean() -> None:
    flat = axle_load_from_dampers(0.010, 0.010, 39_000.0, 0.92)
    rolled = axle_load_from_dampers(0.014, 0.006, 39_000.0, 0.92)
    assert rolled == pytest.approx(float(flat), rel=1e-14)


def test_two_equal_springs_in_series() -> None:
    assert series_rate(100.0, 100.0) == pytest.approx(50.0, rel=1e-14)
    assert series_rate(100.0, 100.0, 50.0) == pytest.approx(25.0, rel=1e-14)


def test_damper_travel_is_the_integral_of_the_ratio() -> None:
    z = np.linspace(-0.04, 0.05, 19)
    ratio = lambda x: np.interp(x, [p[0] for p in RISING], [p[1] for p in RISING])  # noqa: E731 - one line of a test
    fine = [np.trapezoid(ratio(np.linspace(0.0, x, 20_001)), np.linspace(0.0, x, 20_001)) for x in z]
    np.testing.assert_allclose(damper_travel(z, RISING), fine, rtol=0.0, atol=1e-9)


def test_wheel_travel_undoes_damper_travel() -> None:
    z = np.linspace(-0.04, 0.05, 181)
    np.testing.assert_allclose(wheel_travel(damper_travel(z, RISING), RISING), z, rtol=0.0, atol=1e-15)


def test_constant_table_is_a_constant_ratio() -> None:
    np.testing.assert_allclose(damper_travel([0.01, -0.01], [(0.0, 0.92), (0.02, 0.92)]), [0.0092, -0.0092])


def test_heave_table() -> None:
    """Linear between the points; outside, where nothing was measured, nan."""
    loads = axle_load_from_heave_table([0.0, 0.004, 0.010, 0.012, -0.001], [(0.0, 0.0), (0.010, 400.0)])
    np.testing.assert_allclose(loads[:3], [0.0, 160.0, 400.0])
    assert np.all(np.isnan(loads[3:]))


def test_ride_height_sees_springs_and_tyres_in_series() -> None:
    """Springs 2 × 33, tyres 2 × 92 N/mm: 48.6 N/mm, so 10 mm of drop are 486 N."""
    load = axle_load_from_ride_height(0.010, 2.0 * 33_000.0, 2.0 * 92_000.0)
    assert load == pytest.approx(486.0, abs=0.5)


def test_lever_rule() -> None:
    """Sensors 0.2 m behind the front and 0.1 m behind the rear axle of a nose-down car."""
    L, nose, tail = 1.54, 0.030, 0.045
    at = lambda x: nose + (tail - nose) * (-x) / L  # noqa: E731 - one line of a test
    front, rear = heights_at_axles(at(-0.2), at(-L - 0.1), L, -0.2, -0.1)
    assert front == pytest.approx(nose, rel=1e-12)
    assert rear == pytest.approx(tail, rel=1e-12)
    np.testing.assert_allclose(heights_at_axles([0.03], [0.04], L), [[0.03], [0.04]], rtol=1e-14)


def test_anti_squat_is_a_share_of_the_transfer() -> None:
    """500 N at h 0.285, L 1.54 m are 92.5 N of transfer; 30 % anti-squat carries 27.8 N past the springs."""
    assert anti_squat_lift(500.0, 1.0, 0.285, 1.54) == pytest.approx(92.5, abs=0.05)
    assert anti_squat_lift(500.0, 0.3, 0.285, 1.54) == pytest.approx(27.8, abs=0.05)


def test_push_rods() -> None:
    assert axle_load_from_push_rods(300.0, 280.0, 0.8) == pytest.approx(464.0, rel=1e-14)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="spring_rate_n_per_m"):
        wheel_rate(-39_000.0, 0.92)
    with pytest.raises(ValueError, match="rates_n_per_m"):
        series_rate(100.0, 0.0)
    with pytest.raises(ValueError, match="heave_table"):
        axle_load_from_heave_table(0.0, [(0.0, 0.0)])
    with pytest.raises(ValueError, match="motion_ratio_table"):
        damper_travel(0.0, [(0.0, 0.9), (0.0, 1.0)])
    with pytest.raises(ValueError, match="motion_ratio_table"):
        wheel_travel(0.0, [(0.0, 0.9), (0.01, 0.0)])
    with pytest.raises(ValueError, match="front_sensor_ahead_m"):
        heights_at_axles(0.03, 0.04, 1.54, -1.5, 0.1)
