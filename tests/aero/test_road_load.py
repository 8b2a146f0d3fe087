"""The equation of motion against worked examples."""

import numpy as np
import pytest
from scipy.optimize import brentq

from server.aero.areas import area_from_force
from server.aero.road_load import (
    RoadLoadCar,
    Surroundings,
    acceleration,
    dynamic_pressure,
    effective_mass,
    force_from_deceleration,
    polynomial_coefficients,
    resistance_forces,
)
from tests.aero.test_wind import example
from tests.published import table

CAR = RoadLoadCar(
    mass_kg=308.0,
    effective_mass_kg=324.0,
    drag_area_m2=1.45,
    downforce_area_m2=3.6,
    c0=0.02,
    c1_s_per_m=0.00012,
    driveline_drag_n=6.0,
    driveline_drag_n_per_mps=0.35,
    yaw_sensitivity_per_rad2=1.2,
)


def test_road_load_with_grade_of_40_cfr_1037_528() -> None:
    """31.28 to 26.77 m/s in 16.06 s up 0.503 m in 482.4 m: 4645.5 N."""
    x = example()
    slowing = (x["end_speed"] - x["start_speed"]) / (x["end_time"] - x["start_time"])
    grade = (x["end_height"] - x["start_height"]) / (x["end_distance"] - x["start_distance"])
    force = force_from_deceleration(
        x["effective_mass"], slowing, mass_kg=x["mass"], grade=grade, gravity_mps2=x["gravity"]
    )
    assert force == pytest.approx(x["force"], abs=0.05)


def test_effective_mass_of_40_cfr_1037_528() -> None:
    """56.7 kg for each of 18 tyres on 16 108 kg: 17 129 kg, as J/r² of axles with 2, 8 and 8 tyres."""
    x = example()
    r = 0.5
    inertia = x["mass_per_tyre"] * r**2 * np.array([2.0, 8.0, 8.0])
    assert effective_mass(x["mass"], inertia, r) == pytest.approx(x["effective_mass"], abs=0.5)


def test_drag_area_of_40_cfr_1037_528() -> None:
    """Two speed windows less spin and tyre terms: 6.120 m² (printed result from memory)."""
    x = example()
    force = x["force"] - x["force_low_pair"] - x["spin_difference"] - x["tyre_force_difference"]
    density = x["pressure"] / (x["gas_constant"] * x["temperature"])
    air_speed = np.sqrt(x["air_speed_squared_high"] - x["air_speed_squared_low_pair"])
    assert area_from_force(force, density, air_speed) == pytest.approx(x["drag_area"], abs=5e-4)


def test_bosch_mean_forces() -> None:
    """Bosch Automotive Handbook (from memory): 1450 kg, 2.2 m², two windows give cw 0.36 and f 0.013.

    From unrounded decelerations cw is 0.3679 and f 0.013 07 at 1.2 kg/m³; the book first rounds them to
    0.77 and 0.48 km/h/s.
    """
    rows = table("textbooks", "two_windows")
    decelerations = (rows["to_kmh"] - rows["from_kmh"]) / 3.6 / rows["time_s"]
    force = force_from_deceleration(1450.0, decelerations)
    squares = (0.5 * (rows["from_kmh"] + rows["to_kmh"]) / 3.6) ** 2
    c = (force[0] - force[1]) / (squares[0] - squares[1])
    cw = area_from_force(c, 1.2, 1.0) / 2.2
    f = (force[1] - c * squares[1]) / (1450.0 * 9.81)
    assert cw == pytest.approx(0.3679, abs=5e-5)
    assert f == pytest.approx(0.01307, abs=5e-6)
    assert cw == pytest.approx(0.36, abs=0.01)
    assert f == pytest.approx(0.013, abs=5e-4)


def test_young_and_freedman_5_109() -> None:
    """1350 kg slowing by 0.42 at 32 and 0.30 m/s² at 24 m/s: D = 0.36 kg/m, μ = 0.015, 29 m/s down 2.2°."""
    rows = table("textbooks", "decelerations")
    force = force_from_deceleration(1350.0, -rows["deceleration_mps2"])
    squares = rows["speed_mps"].astype(float) ** 2
    D = (force[0] - force[1]) / (squares[0] - squares[1])
    mu = (force[0] - D * squares[0]) / (1350.0 * 9.8)
    assert pytest.approx(0.36, abs=5e-3) == D
    assert mu == pytest.approx(0.015, abs=5e-4)
    car = RoadLoadCar(1350.0, 1350.0, drag_area_m2=area_from_force(D, 1.2, 1.0), c0=mu)
    hill = Surroundings(1.2, grade=-np.sin(np.deg2rad(2.2)), gravity_mps2=9.8)
    steady = brentq(lambda v: float(acceleration(v, car, hill)), 1.0, 60.0)
    assert steady == pytest.approx(29.0, abs=0.5)


def test_vehicle_energy_library_coefficients() -> None:
    """A public vehicle-energy library's own test: 1500 kg, 4 m², A, B, C = 40, 0.02, 0.03 (lbf, mi/h) are
    Cd 0.280 690 and Crr 0.012 170 3 by a two-term fit over 0 to 70 mi/h, back 40.26 lbf and 0.030 268."""
    from server.inference.least_squares import linear_least_squares, polynomial_design

    pound, mile = 4.4482216152605, 0.44704
    v = np.linspace(0.0, 70.0, 71) * mile
    force = pound * (40.0 + 0.02 * v / mile + 0.03 * (v / mile) ** 2)
    f0, f2 = linear_least_squares(polynomial_design(v, (0, 2)), force).estimate
    assert area_from_force(f2, 1.2, 1.0) / 4.0 == pytest.approx(0.28069, rel=2e-4)
    assert f0 / (1500.0 * 9.81) == pytest.approx(0.0121703, rel=2e-4)
    assert f0 / pound == pytest.approx(40.2622, rel=2e-4)
    assert f2 * mile**2 / pound == pytest.approx(0.0302679, rel=2e-4)


def test_pieces_by_hand() -> None:
    """At 20 m/s, head wind 2, cross wind 1.5 m/s, 0.1 % up: every piece by the equation in figures."""
    around = Surroundings(1.2, head_wind_mps=2.0, cross_wind_mps=1.5, grade=0.001)
    pieces = resistance_forces(20.0, CAR, around)
    q = 0.5 * 1.2 * (22.0**2 + 1.5**2)
    yaw = np.arctan(1.5 / 22.0)
    weight = 308.0 * 9.80665
    assert pieces.rolling_n == pytest.approx((0.02 + 0.0024) * (weight + q * 3.6), rel=1e-14)
    assert pieces.driveline_n == pytest.approx(13.0, rel=1e-14)
    assert pieces.aerodynamic_n == pytest.approx(q * 1.45 * (1.0 + 1.2 * yaw**2), rel=1e-14)
    assert pieces.grade_n == pytest.approx(3.02, abs=5e-3)
    assert pieces.total_n == pytest.approx(sum(float(piece) for piece in pieces), rel=1e-14)
    assert acceleration(20.0, CAR, around) == pytest.approx(-float(pieces.total_n) / 324.0, rel=1e-14)


def test_polynomial_is_the_same_resistance() -> None:
    v = np.linspace(0.0, 35.0, 15)
    f = polynomial_coefficients(CAR, 1.18)
    still = resistance_forces(v, CAR, Surroundings(1.18)).total_n
    np.testing.assert_allclose(f[0] + v * (f[1] + v * (f[2] + v * f[3])), still, rtol=1e-14)


def test_a_tenth_of_a_percent_of_grade() -> None:
    """0.1 % on 320 kg is 3.14 N, 1.1 % of the drag at 20 m/s with SCx 1.2 m²."""
    car = RoadLoadCar(320.0, 329.0, drag_area_m2=1.2, c0=0.0)
    pieces = resistance_forces(20.0, car, Surroundings(1.2, grade=0.001))
    assert pieces.grade_n == pytest.approx(3.14, abs=5e-3)
    assert 100.0 * pieces.grade_n / pieces.aerodynamic_n == pytest.approx(1.1, abs=0.05)


def test_effective_mass_by_energy() -> None:
    """Kinetic energy of car and wheels at 10 m/s equals that of m_e."""
    J, r = np.array([0.42, 0.50]), np.array([0.2298, 0.2310])
    energy = 0.5 * 300.0 * 10.0**2 + np.sum(0.5 * J * (10.0 / r) ** 2)
    assert 0.5 * effective_mass(300.0, J, r) * 10.0**2 == pytest.approx(energy, rel=1e-14)
    assert effective_mass(np.full((3, 2), 300.0), J, r).shape == (3, 2)


def test_dynamic_pressure() -> None:
    """½ ρ U² at 1.225 kg/m³ and 100 m/s: 6125 Pa."""
    assert dynamic_pressure(1.225, 100.0) == pytest.approx(6125.0, rel=1e-14)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="mass_kg"):
        RoadLoadCar(0.0, 300.0, drag_area_m2=1.0, c0=0.02)
    with pytest.raises(ValueError, match="density_kgm3"):
        Surroundings(-1.2)
    with pytest.raises(ValueError, match="tyre_radius_m"):
        effective_mass(300.0, [0.4, 0.4], [0.23, 0.0])
    with pytest.raises(ValueError, match="axle_inertia_kgm2"):
        effective_mass(300.0, [0.4, -0.4], [0.23, 0.23])
