"""Rolling resistance against published tyre figures."""

import numpy as np
import pytest

from server.aero.tyres import (
    j2452_rolling_resistance,
    radius_growth,
    rolling_at_reference_temperature,
    rolling_at_temperature,
    rolling_resistance,
)
from tests.published import table


@pytest.mark.parametrize("end", ["high", "low"])
def test_j2452_axles_of_40_cfr_1037_528(end: str) -> None:
    """Six printed axle forces from 189.0 to 431.4 N (source: tests/published/cfr_1037_528/CITATION).

    Coefficients are printed to three digits, so the forces are off by up to 0.08 N, more than half a digit.
    """
    rows = table("cfr_1037_528", "tyres")
    force = j2452_rolling_resistance(
        rows[f"{end}_kmh"] / 3.6, rows["load_n"], 1000.0 * rows["pressure_kpa"],
        tyres=rows["tyres"], alpha=rows["alpha"], beta=rows["beta"], a=rows["a"], b=rows["b"], c=rows["c"],
    )  # fmt: skip
    np.testing.assert_allclose(force, rows[f"{end}_n"], rtol=0.0, atol=0.085)


def test_rolling_force_rises_by_a_quarter() -> None:
    """The same three axles: +23 % from 21 to 104 km/h, c1/c0 about 0.010 s/m: the default prior."""
    rows = table("cfr_1037_528", "tyres")
    np.testing.assert_allclose(rows["high_n"] / rows["low_n"], 1.23, atol=0.005)
    slope = (rows["high_n"] - rows["low_n"]) * 3.6 / (rows["high_kmh"] - rows["low_kmh"])
    at_rest = rows["low_n"] - slope * rows["low_kmh"] / 3.6
    np.testing.assert_allclose(slope / at_rest, 0.0105, atol=5e-4)


def test_linear_form_of_gillespie() -> None:
    """f_r = 0.01 (1 + V/160), V in km/h: 0.0125, 0.0150, 0.0175 at 40, 80, 120 km/h (from memory)."""
    v = np.array([40.0, 80.0, 120.0]) / 3.6
    np.testing.assert_allclose(
        rolling_resistance(v, 1.0, 0.01, 0.01 * 3.6 / 160.0), [0.0125, 0.0150, 0.0175], rtol=1e-14
    )


def test_temperature_as_in_40_cfr_1037_528() -> None:
    """1028.7 N of 24 °C is 1019.4 N at 25.5 °C; 837.5 N is 832.0 N at 25.1 °C (K_t 0.006)."""
    adjusted = rolling_at_temperature(
        [1028.7, 837.5], np.array([25.5, 25.1]) + 273.15, 24.0 + 273.15, softening_per_k=0.006
    )
    np.testing.assert_allclose(adjusted, [1019.4, 832.0], rtol=0.0, atol=0.05)
    rounded = np.round(adjusted, 1)
    assert rounded[0] - rounded[1] == pytest.approx(187.4, abs=1e-9)


def test_temperature_as_in_un_r117() -> None:
    """F_r25 = F_r (1 + K_t (t - 25)), K_t 0.008, 0.010, 0.006: 100 N at 30 °C are 104, 105 and 103 N."""
    at_25 = rolling_at_reference_temperature(100.0, 303.15, 298.15, np.array([0.008, 0.010, 0.006]))
    np.testing.assert_allclose(at_25, [104.0, 105.0, 103.0], rtol=1e-12)


def test_nothing_rolls_without_load_or_air() -> None:
    for name in ("axle_load_n", "pressure_pa", "tyres"):
        arguments = {"axle_load_n": 4000.0, "pressure_pa": 2e5, "tyres": 2} | {name: 0.0}
        with pytest.raises(ValueError, match=name):
            j2452_rolling_resistance(10.0, **arguments, alpha=-0.4, beta=0.95, a=0.06, b=0.0, c=0.0)


def test_growth_goes_with_the_square_of_speed() -> None:
    np.testing.assert_allclose(radius_growth([0.0, 10.0, 20.0, 28.0], 4e-4, 20.0), [0.0, 1e-4, 4e-4, 7.84e-4])
    with pytest.raises(ValueError, match="at_speed_mps"):
        radius_growth(10.0, 4e-4, 0.0)
