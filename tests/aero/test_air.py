"""Air density and pressure against published figures and another library."""

import numpy as np
import pytest

from server.aero.air import (
    air_density,
    compressibility,
    density_sensitivity,
    density_with_u,
    enhancement_factor,
    isa_pressure,
    pressure_disagreement,
    saturation_vapour_pressure,
)
from tests.published import table


def test_cipm_2007_rows() -> None:
    """Rows of the CIPM-2007 equation (tests/published/cipm_2007/CITATION), to half the last digit."""
    rows = table("cipm_2007", "rows")
    density = air_density(rows["pressure_pa"], rows["temperature_c"] + 273.15, rows["humidity"])
    np.testing.assert_allclose(density, rows["density_kgm3"], rtol=0.0, atol=5e-7)


def test_real_gas_model_agrees() -> None:
    """CoolProp's ASHRAE RP-1485 model, run live over and beyond the stated range: above, within 60 ppm."""
    humid_air = pytest.importorskip("CoolProp.HumidAirProp")
    temperature, pressure, humidity = (
        axis.ravel()
        for axis in np.meshgrid([5.0, 15.0, 21.0, 27.0, 35.0], [60e3, 85e3, 101325.0, 110e3], [0.0, 0.5, 0.9])
    )
    ours = air_density(pressure, temperature + 273.15, humidity)
    theirs = [
        1.0 / humid_air.HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", h)
        for t, p, h in zip(temperature, pressure, humidity, strict=True)
    ]
    ppm = 1e6 * (np.array(theirs) / ours - 1.0)
    assert np.all(ppm > 0.0)
    assert np.all(ppm < 60.0)


def test_stored_real_gas_rows() -> None:
    """The same as stored beside the rows, for where CoolProp is not installed."""
    rows = table("cipm_2007", "rows")
    np.testing.assert_allclose(rows["coolprop_kgm3"], rows["density_kgm3"], rtol=6e-5)


def test_constants_agree_with_their_abridged_form() -> None:
    """M_a/R = 3.483740·10⁻³ kg K/J for usual CO2, and 1 - M_v/M_a = 0.3780, as the paper prints them."""
    dry = air_density(101325.0, 293.15, 0.0)
    Z = compressibility(101325.0, 293.15, 0.0)
    assert dry * Z * 293.15 / 101325.0 == pytest.approx(3.483740e-3, abs=5e-10)
    x_v = enhancement_factor(101325.0, 293.15) * saturation_vapour_pressure(293.15) / 101325.0
    wet, Z_wet = air_density(101325.0, 293.15, 1.0), compressibility(101325.0, 293.15, x_v)
    assert (1.0 - wet * Z_wet / (dry * Z)) / x_v == pytest.approx(0.3780, abs=5e-5)


def test_saturation_pressure() -> None:
    """ASHRAE Fundamentals 2017: 3169.7 Pa at 25 °C, 872.6 Pa at 5 °C; equations differ by up to 1·10⁻⁴."""
    rows = table("standard_atmosphere", "saturation")
    np.testing.assert_allclose(
        saturation_vapour_pressure(rows["temperature_c"] + 273.15), rows["pressure_pa"], rtol=1e-4
    )


def test_sea_level_density() -> None:
    """ISO 2533 sea level: 1.2250 kg/m³ for an ideal gas; the real one is denser by (1 - Z) = 4·10⁻⁴."""
    Z = compressibility(101325.0, 288.15, 0.0)
    assert air_density(101325.0, 288.15, 0.0) * Z == pytest.approx(1.2250, abs=5e-5)
    assert pytest.approx(0.9996, abs=5e-5) == Z


def test_relative_sensitivities() -> None:
    """At 20 °C, 101 325 Pa, 50 %: +9.92e-6 /Pa, -3.69e-3 /K, -8.73e-3 and +0.412 (the paper rounds to 1e-5,
    -4e-3, -9e-3, 0.4: from memory)."""
    slope = density_sensitivity(101325.0, 293.15, 0.5)
    density = float(air_density(101325.0, 293.15, 0.5))
    assert slope.per_pascal / density == pytest.approx(9.92e-6, abs=5e-9)
    assert slope.per_kelvin / density == pytest.approx(-3.69e-3, abs=5e-6)
    assert slope.per_humidity / density == pytest.approx(-8.73e-3, abs=5e-6)
    assert slope.per_co2 / density == pytest.approx(0.412, abs=5e-4)


def test_density_with_u_combines_the_readings() -> None:
    """1 K, 100 Pa and 10 % humidity at 20 °C are 0.37 %, 0.10 % and 0.09 % of the density."""
    density, u = density_with_u(
        101325.0, 293.15, 0.5, pressure_u_pa=[100.0, 0.0, 0.0], temperature_u_k=[0.0, 1.0, 0.0],
        humidity_u=[0.0, 0.0, 0.1],
    )  # fmt: skip
    np.testing.assert_allclose(100.0 * u / density, [0.10, 0.37, 0.09], atol=0.005)


def test_density_with_u_agrees_with_a_simulation() -> None:
    """20,000 draws of the readings (JCGM 101) give the same standard deviation within 2 %."""
    random = np.random.default_rng(20240601)
    pressure, temperature = random.normal(100_000.0, 80.0, 20_000), random.normal(295.0, 0.7, 20_000)
    humidity = random.normal(0.5, 0.05, 20_000)
    _, u = density_with_u(100_000.0, 295.0, 0.5, pressure_u_pa=80.0, temperature_u_k=0.7, humidity_u=0.05)
    assert u == pytest.approx(np.std(air_density(pressure, temperature, humidity)), rel=0.02)


def test_perfect_readings_leave_the_equations_own_uncertainty() -> None:
    """u_r = 22·10⁻⁶ of the formula (Picard et al. 2008, from memory)."""
    density, u = density_with_u(101325.0, 293.15, 0.5)
    assert u / density == pytest.approx(22e-6, rel=1e-12)


def test_isa_pressure() -> None:
    """ISO 2533 by geometric altitude, to half the last digit; ASHRAE's table within 1.5 Pa."""
    rows = table("standard_atmosphere", "pressures")
    pressure = isa_pressure(rows["altitude_m"])
    np.testing.assert_allclose(pressure, rows["pressure_pa"], rtol=0.0, atol=0.05)
    np.testing.assert_allclose(pressure, rows["ashrae_pa"], rtol=0.0, atol=1.5)


def test_a_reading_reduced_to_sea_level_shows() -> None:
    """At 500 m a reduced pressure of 1013 hPa is 6 % above what a station reads there."""
    assert pressure_disagreement(101_325.0, 500.0) == pytest.approx(0.0614, abs=5e-4)
    assert pressure_disagreement(95_461.3, 500.0) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((1013.25, 293.15, 0.5), "pressure_pa"),
        ((29.92, 293.15, 0.5), "pressure_pa"),
        ((101325.0, 20.0, 0.5), "temperature_k"),
        ((101325.0, 293.15, 50.0), "humidity"),
        ((float("nan"), 293.15, 0.5), "pressure_pa"),
    ],
)
def test_other_units_are_refused(arguments: tuple[float, float, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        air_density(*arguments)


def test_negative_uncertainty_and_impossible_altitude_are_refused() -> None:
    with pytest.raises(ValueError, match="temperature_u_k"):
        density_with_u(101325.0, 293.15, 0.5, temperature_u_k=-1.0)
    with pytest.raises(ValueError, match="altitude_m"):
        isa_pressure(20_000.0)
