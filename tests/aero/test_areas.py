"""What areas mean: forces, ratios, the speed that carries the weight."""

import numpy as np
import pytest

from server.aero.areas import (
    aerodynamic_force,
    apparent_drag_area,
    area_from_coefficient,
    area_from_force,
    coefficient_from_area,
    downforce_to_drag,
    front_balance,
    speed_of_weight,
)


def test_student_car_lift_over_drag() -> None:
    """SCz 4.7 m² over SCx 1.7 to 1.8 m² is about 2.7 (common practice, no source)."""
    ratio = downforce_to_drag(4.7, np.array([1.7, 1.75, 1.8]))
    assert ratio[1] == pytest.approx(2.7, abs=0.05)
    np.testing.assert_allclose(ratio, 2.7, atol=0.1)


def test_student_car_carries_its_own_weight() -> None:
    """330 to 360 kg with driver and SCz 4.7 m² at 1.2 kg/m³: about 125 km/h (common practice, no source)."""
    speed_kmh = 3.6 * speed_of_weight([330.0, 345.0, 360.0], 4.7, 1.2)
    assert speed_kmh[1] == pytest.approx(125.0, abs=0.5)
    np.testing.assert_allclose(speed_kmh, 125.0, atol=4.0)


def test_at_that_speed_downforce_is_weight() -> None:
    v = speed_of_weight(345.0, 4.7, 1.2)
    assert aerodynamic_force(4.7, 1.2, v) == pytest.approx(345.0 * 9.80665, rel=1e-14)
    assert speed_of_weight(345.0, -0.3, 1.2) == np.inf
    assert speed_of_weight(345.0, 0.0, 1.2) == np.inf


def test_tunnel_drag_area() -> None:
    """Cd 0.24 on 25.2 ft² is 6.0 to 6.2 ft²: 0.576 m² as quoted by a magazine's wind-tunnel test of 2014."""
    assert area_from_coefficient(0.246, 25.2 * 0.3048**2) == pytest.approx(0.576, abs=5e-4)


def test_half_model_and_back() -> None:
    """A half car's force on the whole car's reference area doubles."""
    assert area_from_coefficient(0.7, 1.1, share=0.5) == pytest.approx(1.54, rel=1e-14)
    assert coefficient_from_area(area_from_coefficient(0.9, 1.1), 1.1) == pytest.approx(0.9, rel=1e-14)


def test_area_from_force_undoes_the_force() -> None:
    assert area_from_force(aerodynamic_force(1.45, 1.18, 22.0), 1.18, 22.0) == pytest.approx(1.45, rel=1e-14)


def test_balance() -> None:
    assert front_balance(1.6, 2.4) == pytest.approx(0.4, rel=1e-14)
    assert np.isnan(front_balance(0.1, -0.1))


def test_apparent_area_is_three_to_six_percent_more() -> None:
    """c0 0.02 and SCz 2 to 4 m² on SCx 1.4 m²: coasting alone sees 3 to 6 % more than the drag area."""
    excess = apparent_drag_area(1.4, np.array([2.0, 4.0]), 0.02) / 1.4 - 1.0
    assert np.all((excess > 0.028) & (excess < 0.06))


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="mass_kg"):
        speed_of_weight(0.0, 4.7, 1.2)
    with pytest.raises(ValueError, match="drag_area_m2"):
        downforce_to_drag(4.7, 0.0)
    with pytest.raises(ValueError, match="share"):
        area_from_coefficient(0.9, 1.1, share=0.0)
    with pytest.raises(ValueError, match="reference_area_m2"):
        coefficient_from_area(0.9, 0.0)
    with pytest.raises(ValueError, match="speed_mps"):
        area_from_force(100.0, 1.2, 0.0)
