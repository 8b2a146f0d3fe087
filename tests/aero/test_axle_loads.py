"""Axle loads against a moment balance written out, and textbook cases."""

import numpy as np
import pytest

from server.aero.axle_loads import (
    areas_from_axle_loads,
    axle_load_change,
    load_transfer,
    static_axle_loads,
)


def loads_by_moments(a: float, drag_n: float, height_m: float, lift: tuple[float, float]) -> np.ndarray:
    """Contact loads of a 300 kg car slowing by a under drag at a height, from the three equilibria.

    Unknowns: front load, rear load, ground force X. Moments about the rear contact line, nose up positive.
    """
    m, g, h, L, front_share = 300.0, 9.80665, 0.29, 1.54, 0.47
    spin = 0.9 / 0.23
    ahead = front_share * L
    equations = np.array([[1.0, 1.0, 0.0], [L, 0.0, 0.0], [0.0, 0.0, 1.0]])
    right = np.array(
        [
            m * g + sum(lift),
            m * g * ahead + lift[0] * L - drag_n * height_m - m * a * h - spin * a,
            m * a + drag_n,
        ]
    )
    return np.linalg.solve(equations, right)[:2]


def test_moment_balance_with_drag_up_in_the_air() -> None:
    """Downforce areas at the ground hold the pitching moment of the drag, as wheel pads would weigh it."""
    drag, height, lift, a = 500.0, 0.6, (400.0, 700.0), -1.9
    expected = loads_by_moments(a, drag, height, lift)
    q = 300.0
    front_area, rear_area = (lift[0] - drag * height / 1.54) / q, (lift[1] + drag * height / 1.54) / q
    rest = static_axle_loads(300.0, 0.47)
    transfer = load_transfer(a, 300.0, 0.29, 1.54, axle_inertia_kgm2=0.9, tyre_radius_m=0.23)
    change = axle_load_change(1.2, np.sqrt(2.0 * q / 1.2), front_area, rear_area, transfer)
    np.testing.assert_allclose(
        [rest.front_n + change.front_n, rest.rear_n + change.rear_n], expected, rtol=1e-12
    )


def test_braking_at_one_g() -> None:
    """Transfer is m g h/L: 300 kg, h 0.3 m, L 1.5 m move 588.4 N forward (textbook case, from memory)."""
    transfer = load_transfer(-9.80665, 300.0, 0.3, 1.5)
    assert transfer == pytest.approx(-588.4, abs=0.05)
    change = axle_load_change(1.2, 0.0, 1.6, 2.4, transfer)
    assert change.front_n == pytest.approx(588.4, abs=0.05)
    assert change.rear_n == pytest.approx(-588.4, abs=0.05)


def test_standing_on_a_slope() -> None:
    """Uphill the weight leans on the rear: m g γ h/L, with no acceleration."""
    transfer = load_transfer(0.0, 300.0, 0.3, 1.5, grade=0.05)
    assert transfer == pytest.approx(300.0 * 9.80665 * 0.05 * 0.3 / 1.5, rel=1e-14)


def test_free_rolling_downhill_transfers_only_by_spin() -> None:
    """A car that gathers speed by gravity alone has no transfer of m: a = -g γ."""
    gamma = -0.03
    a = -9.80665 * gamma
    assert load_transfer(a, 300.0, 0.3, 1.5, grade=gamma) == pytest.approx(0.0, abs=1e-12)
    spinning = load_transfer(a, 300.0, 0.3, 1.5, axle_inertia_kgm2=0.9, tyre_radius_m=0.23, grade=gamma)
    assert spinning == pytest.approx(0.9 / 0.23 * a / 1.5, rel=1e-12)


def test_axles_given_apart_add_up() -> None:
    apart = load_transfer(-2.0, 300.0, 0.3, 1.5, axle_inertia_kgm2=[0.4, 0.5], tyre_radius_m=[0.23, 0.23])
    together = load_transfer(-2.0, 300.0, 0.3, 1.5, axle_inertia_kgm2=0.9, tyre_radius_m=0.23)
    assert apart == pytest.approx(float(together), rel=1e-14)


def test_transfer_is_a_tenth_to_a_fifth_of_front_downforce() -> None:
    """Coasting at 80 km/h with SCx 1.5, SCz_front 1.6 m² on a short car: 10 to 20 % of it."""
    v = 80.0 / 3.6
    drag = 0.5 * 1.2 * v**2 * 1.5
    transfer = load_transfer(-(drag + 70.0) / 324.0, 308.0, 0.285, 1.54)
    share = -transfer / (0.5 * 1.2 * v**2 * 1.6)
    assert 0.10 < share < 0.20


def test_transfer_moves_load_and_makes_none() -> None:
    v = np.linspace(5.0, 30.0, 6)
    change = axle_load_change(1.2, v, 1.6, 2.4, load_transfer(-0.1 * v, 300.0, 0.3, 1.5))
    np.testing.assert_allclose(change.front_n + change.rear_n, 0.6 * v**2 * 4.0, rtol=1e-13)
    areas = areas_from_axle_loads(*change, 1.2, v, load_transfer(-0.1 * v, 300.0, 0.3, 1.5))
    np.testing.assert_allclose(areas[0], 1.6, rtol=1e-12)
    np.testing.assert_allclose(areas[1], 2.4, rtol=1e-12)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="wheelbase_m"):
        load_transfer(-1.0, 300.0, 0.3, 0.0)
    with pytest.raises(ValueError, match="air_speed_mps"):
        areas_from_axle_loads(1.0, 1.0, 1.2, 0.0)
