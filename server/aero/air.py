"""Moist-air density by the CIPM-2007 equation, and the pressure of the standard atmosphere.

Source of the density: A. Picard, R. S. Davis, M. Gläser, K. Fujii, "Revised formula for the density of
moist air (CIPM-2007)", Metrologia 45 (2008) 149-155. Stated for 600 to 1100 hPa and 15 to 27 °C; against a
real-gas model it stays within 50 ppm from 5 to 35 °C as well.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_between, require_not_negative, require_positive
from server.aero.constants import STANDARD_GRAVITY, ZERO_CELSIUS_K

MOLAR_GAS_CONSTANT = 8.314472  # J/(mol K), the value that is part of the CIPM-2007 equation
VAPOUR_MOLAR_MASS = 18.01528e-3  # kg/mol
USUAL_CO2_FRACTION = 0.0004  # mol/mol
FORMULA_RELATIVE_U = 22e-6  # of the equation itself


class DensitySensitivity(NamedTuple):
    """Partial derivatives of the air density ρ, each of the broadcast shape of the arguments.

    per_pascal [kg/m³/Pa], per_kelvin [kg/m³/K], per_humidity [kg/m³ per unit], per_co2 [kg/m³ per mol/mol].
    """

    per_pascal: FloatArray
    per_kelvin: FloatArray
    per_humidity: FloatArray
    per_co2: FloatArray


def saturation_vapour_pressure(temperature_k: ArrayLike) -> FloatArray:
    """Pressure of saturated water vapour over water.

    p_sv = exp(A T² + B T + C + D/T). CIPM-2007, appendix A1.1.

    temperature_k: air temperature [K]. Returns p_sv [Pa], same shape.
    """
    (T,) = floats(temperature_k)
    return np.exp(1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)


def enhancement_factor(pressure_pa: ArrayLike, temperature_k: ArrayLike) -> FloatArray:
    """How much more vapour air holds than a vacuum would: f = α + β p + γ t², t in °C.

    pressure_pa [Pa], temperature_k [K]. Returns f [-]. CIPM-2007, appendix A1.2.
    """
    p, T = floats(pressure_pa, temperature_k)
    return 1.00062 + 3.14e-8 * p + 5.6e-7 * (T - ZERO_CELSIUS_K) ** 2


def vapour_mole_fraction(pressure_pa: ArrayLike, temperature_k: ArrayLike, humidity: ArrayLike) -> FloatArray:
    """Mole fraction of water vapour: x_v = h f(p, t) p_sv(t) / p.

    pressure_pa [Pa], temperature_k [K], humidity: relative, 0 to 1 [-]. Returns x_v [mol/mol].
    """
    p, T, h = floats(pressure_pa, temperature_k, humidity)
    return h * enhancement_factor(p, T) * saturation_vapour_pressure(T) / p


def compressibility(
    pressure_pa: ArrayLike, temperature_k: ArrayLike, vapour_fraction: ArrayLike
) -> FloatArray:
    """Compressibility of moist air.

    Z = 1 - (p/T)[a0 + a1 t + a2 t² + (b0 + b1 t) x_v + (c0 + c1 t) x_v²] + (p/T)² (d + e x_v²), t in °C.

    pressure_pa [Pa], temperature_k [K], vapour_fraction [mol/mol]. Returns Z [-]. CIPM-2007, appendix A1.4.
    """
    p, T, x = floats(pressure_pa, temperature_k, vapour_fraction)
    t = T - ZERO_CELSIUS_K
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first = first + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    return 1.0 - p / T * first + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * x**2)


def air_density(
    pressure_pa: ArrayLike,
    temperature_k: ArrayLike,
    humidity: ArrayLike,
    co2_fraction: ArrayLike = USUAL_CO2_FRACTION,
) -> FloatArray:
    """Density of moist air by CIPM-2007.

    ρ = p M_a / (Z R T) · [1 - x_v (1 - M_v/M_a)], M_a = [28.96546 + 12.011 (x_CO2 - 0.0004)]·10⁻³ kg/mol

    pressure_pa: station pressure, never reduced to sea level [Pa]
    temperature_k: air temperature [K]
    humidity: relative humidity, 0 to 1 [-]
    co2_fraction: carbon dioxide [mol/mol]

    Returns ρ [kg/m³], broadcast shape. Raises ValueError for a pressure outside 300 to 1200 hPa,
    a temperature outside 230 to 340 K or a humidity outside 0 to 1: no place to run a car.
    """
    require_between(30_000.0, 120_000.0, pressure_pa=pressure_pa)
    require_between(230.0, 340.0, temperature_k=temperature_k)
    require_between(0.0, 1.0, humidity=humidity)
    return _cipm_2007(pressure_pa, temperature_k, humidity, co2_fraction)


def density_sensitivity(
    pressure_pa: ArrayLike,
    temperature_k: ArrayLike,
    humidity: ArrayLike,
    co2_fraction: ArrayLike = USUAL_CO2_FRACTION,
) -> DensitySensitivity:
    """Partial derivatives of the CIPM-2007 density by central differences of the equation itself.

    Arguments as in `air_density`. The steps (10 Pa, 0.05 K, 0.001, 0.0001) keep the error below 10⁻⁷ of each.
    """
    x = floats(pressure_pa, temperature_k, humidity, co2_fraction)
    steps = (10.0, 0.05, 1e-3, 1e-4)
    slopes = []
    for place, step in enumerate(steps):
        up = [value + step * (index == place) for index, value in enumerate(x)]
        down = [value - step * (index == place) for index, value in enumerate(x)]
        slopes.append((_cipm_2007(*up) - _cipm_2007(*down)) / (2.0 * step))
    return DensitySensitivity(*slopes)


def density_with_u(
    pressure_pa: ArrayLike,
    temperature_k: ArrayLike,
    humidity: ArrayLike,
    *,
    pressure_u_pa: ArrayLike = 0.0,
    temperature_u_k: ArrayLike = 0.0,
    humidity_u: ArrayLike = 0.0,
    co2_fraction: ArrayLike = USUAL_CO2_FRACTION,
    co2_u: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Density and its standard uncertainty from independent readings (GUM, JCGM 100:2008, eq. 10).

    u²(ρ) = Σ (∂ρ/∂x_i u(x_i))² + (22·10⁻⁶ ρ)², the last term for the equation itself (Picard et al. 2008).

    Arguments as in `air_density`, each with its standard uncertainty in the same unit.
    Returns (ρ, u) [kg/m³]. Raises ValueError for a negative uncertainty, and as `air_density`.
    """
    require_not_negative(pressure_u_pa=pressure_u_pa, temperature_u_k=temperature_u_k, humidity_u=humidity_u)
    density = air_density(pressure_pa, temperature_k, humidity, co2_fraction)
    slopes = density_sensitivity(pressure_pa, temperature_k, humidity, co2_fraction)
    variance = (FORMULA_RELATIVE_U * density) ** 2
    for slope, u in zip(slopes, floats(pressure_u_pa, temperature_u_k, humidity_u, co2_u), strict=True):
        variance = variance + (slope * u) ** 2
    return density, np.sqrt(variance)


def isa_pressure(altitude_m: ArrayLike) -> FloatArray:
    """Pressure of the standard atmosphere below 11 km of geopotential altitude.

    H = r z / (r + z);  p = p0 (1 - L H / T0)^(g0 M / (R L)).  ISO 2533:1975 (the ICAO standard atmosphere).

    altitude_m: geometric altitude above sea level [m]. Returns p [Pa], same shape.
    Raises ValueError outside -1000 to 11 000 m.
    """
    require_between(-1000.0, 11_000.0, altitude_m=altitude_m)
    (z,) = floats(altitude_m)
    H = 6_356_766.0 * z / (6_356_766.0 + z)
    lapse, T0, specific_gas_constant = 0.0065, 288.15, 287.05287
    return 101_325.0 * (1.0 - lapse * H / T0) ** (STANDARD_GRAVITY / (specific_gas_constant * lapse))


def pressure_disagreement(pressure_pa: ArrayLike, altitude_m: ArrayLike) -> FloatArray:
    """How far a pressure reading is from the standard atmosphere at that altitude, relative [-].

    p / p_ISA(z) - 1. Weather alone makes about ±3 %; a reading reduced to sea level shows
    as +1.2 % per 100 m.
    """
    require_positive(pressure_pa=pressure_pa)
    (p,) = floats(pressure_pa)
    return p / isa_pressure(altitude_m) - 1.0


def _cipm_2007(
    pressure: ArrayLike, temperature: ArrayLike, humidity: ArrayLike, co2: ArrayLike
) -> FloatArray:
    p, T, h, x_co2 = floats(pressure, temperature, humidity, co2)
    x_v = vapour_mole_fraction(p, T, h)
    M_a = (28.96546 + 12.011 * (x_co2 - 0.0004)) * 1e-3
    Z = compressibility(p, T, x_v)
    return p * M_a / (Z * MOLAR_GAS_CONSTANT * T) * (1.0 - x_v * (1.0 - VAPOUR_MOLAR_MASS / M_a))
