"""Decelerations that a coasting car can have: from one that hardly resists to one that no tyre resembles.

    R(v) = k m g + ½ ρ v² A,    deceleration = R / m_e

with k resistance over weight and A drag area, each at its least and its most.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.pass_options import PassOptions
from server.testday.values import Car, FloatArray, Run

GRAVITY_MPS2 = 9.80665
AIR_KGM3 = 1.2


@dataclass(frozen=True, slots=True)
class CoastingBand:
    """least_mps2, most_mps2: speed-independent deceleration [m/s²]; *_per_m: its growth with v² [1/m]."""

    least_mps2: float
    least_per_m: float
    most_mps2: float
    most_per_m: float

    def least(self, speed_mps: FloatArray) -> FloatArray:
        """Smallest deceleration of a coasting car [m/s²]."""
        return np.asarray(self.least_mps2 + self.least_per_m * speed_mps**2)

    def most(self, speed_mps: FloatArray) -> FloatArray:
        """Largest deceleration of a coasting car [m/s²]."""
        return np.asarray(self.most_mps2 + self.most_per_m * speed_mps**2)


def coasting_band(run: Run, car: Car, options: PassOptions) -> CoastingBand:
    """The band for a run's mass."""
    mass = car.mass_kg.value + run.driver_mass_kg.value
    spinning = sum(axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value**2 for axle in (car.front, car.rear))
    effective = mass + spinning
    weight = mass * GRAVITY_MPS2 / effective
    air = 0.5 * AIR_KGM3 / effective
    return CoastingBand(
        options.min_resistance_ratio * weight,
        options.min_drag_area_m2 * air,
        options.max_resistance_ratio * weight,
        options.max_drag_area_m2 * air,
    )
