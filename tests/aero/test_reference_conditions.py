"""The published corrections to reference conditions (source: tests/published/un_gtr_15/CITATION)."""

import pytest

from server.aero.air import air_density
from server.aero.reference_conditions import (
    air_correction,
    at_reference_conditions,
    mass_correction,
    rolling_correction,
    wind_correction,
)


def test_check_values() -> None:
    """K2 at 303.15 K, 98 kPa 1.055 76; K1 of 60 N, 300 for 320 kg 3.75 N; w1 of 0.055 N/(km/h)² in 2 m/s
    2.851 N; 1 + 10 K0 = 1.086."""
    assert air_correction(303.15, 98_000.0) == pytest.approx(1.05576, abs=5e-6)
    assert mass_correction(60.0, 300.0, 320.0) == pytest.approx(3.75, abs=5e-3)
    assert wind_correction(0.055 * 3.6**2, 2.0) == pytest.approx(2.851, abs=5e-4)
    assert rolling_correction(303.15) == pytest.approx(1.086, abs=5e-7)


def test_put_together() -> None:
    """F* = ((f0 - w1 - K1) + f1 v)(1 + K0 (T - 20)) + K2 f2 v² with the check values above."""
    f0, f1, f2 = at_reference_conditions(
        (60.0, 0.2 * 3.6, 0.055 * 3.6**2), 303.15, 98_000.0,
        wind_along_mps=2.0, reference_mass_kg=300.0, test_mass_kg=320.0,
    )  # fmt: skip
    assert f0 == pytest.approx((60.0 - 2.8512 - 3.75) * 1.086, rel=1e-12)
    assert f1 == pytest.approx(0.72 * 1.086, rel=1e-12)
    assert f2 / 3.6**2 == pytest.approx(0.055 * 1.05576, rel=1e-5)


def test_reference_atmosphere_changes_nothing() -> None:
    assert at_reference_conditions((60.0, 0.7, 0.7), 293.15, 100_000.0 * 293.15 / 293.0) == pytest.approx(
        (60.0, 0.7, 0.7), rel=1e-12
    )


def test_reference_density() -> None:
    """100 kPa and 293 K are 1.189 kg/m³ (UN GTR 15, 3.2.9, at second hand), dry."""
    assert air_density(100_000.0, 293.0, 0.0) == pytest.approx(1.189, abs=1e-3)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="pressure_pa"):
        air_correction(293.0, 0.0)
    with pytest.raises(ValueError, match="test_mass_kg"):
        mass_correction(60.0, 300.0, 0.0)
