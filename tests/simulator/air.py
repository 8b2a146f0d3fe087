"""Air of the day: true pressure, temperature, humidity over the clock, and their density.

Density is the ideal-gas mixture with Magnus' vapour pressure and a constant compressibility, on purpose not
the formula that the product uses; they agree to about 2e-4 between 5 and 35 °C.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GAS_DRY = 287.055  # J/(kg K)
GAS_VAPOUR = 461.52
COMPRESSIBILITY = 0.99963


def moist_density_kgm3(pressure_pa: float, temperature_k: float, humidity: float) -> float:
    """ρ = [(p − e)/R_d + e/R_v] / (Z T), e = φ·611.2·exp(17.62 t/(243.12 + t)) (Magnus, WMO-No. 8)."""
    celsius = temperature_k - 273.15
    vapour_pa = humidity * 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))
    dry = (pressure_pa - vapour_pa) / GAS_DRY
    return float((dry + vapour_pa / GAS_VAPOUR) / (COMPRESSIBILITY * temperature_k))


@dataclass(frozen=True, slots=True)
class DayAir:
    """True air: linear drift of pressure and a temperature that climbs towards the afternoon."""

    start_clock_s: float
    pressure_pa: float
    pressure_drift_pa_per_h: float
    temperature_k: float
    warming_k_per_h: float
    humidity: float

    def at(self, clock_s: float) -> tuple[float, float, float]:
        """Pressure [Pa], temperature [K], humidity [0–1] at a clock time."""
        hours = (clock_s - self.start_clock_s) / 3600.0
        pressure = self.pressure_pa + self.pressure_drift_pa_per_h * hours
        temperature = self.temperature_k + self.warming_k_per_h * hours * (1.0 - 0.08 * hours)
        humidity = float(np.clip(self.humidity - 0.02 * self.warming_k_per_h * hours, 0.15, 0.98))
        return pressure, temperature, humidity

    def density_kgm3(self, clock_s: float) -> float:
        return moist_density_kgm3(*self.at(clock_s))


def draw_air(rng: np.random.Generator, start_clock_s: float) -> DayAir:
    return DayAir(
        start_clock_s=start_clock_s,
        pressure_pa=float(rng.uniform(95e3, 102.5e3)),
        pressure_drift_pa_per_h=float(rng.normal(0.0, 30.0)),
        temperature_k=float(rng.uniform(281.0, 303.0)),
        warming_k_per_h=float(rng.uniform(-0.3, 2.0)),
        humidity=float(rng.uniform(0.3, 0.85)),
    )
