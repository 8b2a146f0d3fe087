"""Road load measured on one day, carried to the reference atmosphere of the published road-load procedure."""

from __future__ import annotations

from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_positive
from server.aero.constants import ZERO_CELSIUS_K

ROLLING_SOFTENING_PER_K = 8.6e-3  # K0
REFERENCE_TEMPERATURE_C = 20.0
REFERENCE_TEMPERATURE_K = 293.0  # as K2 has it, without the 0.15
REFERENCE_PRESSURE_PA = 100_000.0


def rolling_correction(temperature_k: ArrayLike) -> FloatArray:
    """Factor on the rolling terms: 1 + K0 (T - 20 °C), K0 = 8.6·10⁻³ per kelvin.

    temperature_k: air temperature of the test [K]. Returns the factor [-]. Source: UN GTR 15, annex 4, 4.5.
    """
    (T,) = floats(temperature_k)
    return 1.0 + ROLLING_SOFTENING_PER_K * (T - ZERO_CELSIUS_K - REFERENCE_TEMPERATURE_C)


def air_correction(temperature_k: ArrayLike, pressure_pa: ArrayLike) -> FloatArray:
    """Factor on the air resistance: K2 = (T/293 K)(100 kPa/P).

    temperature_k: T [K]; pressure_pa: P [Pa]. Returns K2 [-]. Source: UN GTR 15, annex 4, 4.5.
    """
    require_positive(temperature_k=temperature_k, pressure_pa=pressure_pa)
    T, P = floats(temperature_k, pressure_pa)
    return T / REFERENCE_TEMPERATURE_K * REFERENCE_PRESSURE_PA / P


def mass_correction(f0: ArrayLike, reference_mass_kg: ArrayLike, test_mass_kg: ArrayLike) -> FloatArray:
    """Rolling force of the mass that was too much: K1 = f0 (1 - TM/m_av).

    f0: constant term [N]; reference_mass_kg: TM, that the result is for; test_mass_kg: m_av, as run [kg].
    Returns K1 [N]. Source: UN GTR 15, annex 4, 4.5.
    """
    require_positive(reference_mass_kg=reference_mass_kg, test_mass_kg=test_mass_kg)
    f_0, TM, m_av = floats(f0, reference_mass_kg, test_mass_kg)
    return f_0 * (1.0 - TM / m_av)


def wind_correction(f2: ArrayLike, wind_along_mps: ArrayLike) -> FloatArray:
    """What a mean wind along the track leaves in opposite runs: w1 = f2 v_w².

    f2: [N s²/m²] (the source writes 3.6² f2, f2 per (km/h)²); wind_along_mps: v_w, the lower of the two
    directions' mean wind components along the track [m/s]. Returns w1 [N]. Source: UN GTR 15, annex 4, 4.5.
    """
    f_2, v_w = floats(f2, wind_along_mps)
    return f_2 * v_w**2


def at_reference_conditions(
    road_load: tuple[float, float, float],
    temperature_k: float,
    pressure_pa: float,
    *,
    wind_along_mps: float = 0.0,
    reference_mass_kg: float | None = None,
    test_mass_kg: float | None = None,
) -> tuple[float, float, float]:
    """Coefficients of F = f0 + f1 v + f2 v² in the reference atmosphere (20 °C, 100 kPa, no wind).

    F* = ((f0 - w1 - K1) + f1 v)(1 + K0 (T - 20 °C)) + K2 f2 v²

    road_load: (f0 [N], f1 [N s/m], f2 [N s²/m²]); temperature_k: T [K]; pressure_pa: P [Pa]
    wind_along_mps: v_w [m/s]; reference_mass_kg: TM, test_mass_kg: m_av [kg], no mass correction without them

    Returns (f0*, f1*, f2*) in the same units. Source: UN GTR 15, annex 4, 4.5 (stationary anemometer).
    """
    f0, f1, f2 = road_load
    excess = 0.0
    if reference_mass_kg is not None and test_mass_kg is not None:
        excess = float(mass_correction(f0, reference_mass_kg, test_mass_kg))
    rolling = float(rolling_correction(temperature_k))
    constant = f0 - float(wind_correction(f2, wind_along_mps)) - excess
    return constant * rolling, f1 * rolling, f2 * float(air_correction(temperature_k, pressure_pa))
