"""The day's equation of motion: what slows a coasting car, piece by piece.

m_e dv/dt = -[ (c0 + c1 v)(m g + ½ρU² SCz) + T0 + T1 v + ½ρU² SCx (1 + k_β β²) + m g γ ]
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_not_negative, require_positive
from server.aero.constants import STANDARD_GRAVITY
from server.aero.tyres import rolling_resistance
from server.aero.wind import air_speed, yaw_angle


@dataclass(frozen=True, slots=True)
class RoadLoadCar:
    """What the equation needs of a car; each a number or an array that broadcasts with the speeds.

    mass_kg: as run, m; effective_mass_kg: with the rotating parts, m_e [kg]
    drag_area_m2: SCx; downforce_area_m2: SCz, positive down [m²]
    c0 [-], c1_s_per_m [s/m]: rolling resistance coefficient and its rise with speed
    driveline_drag_n: T0 [N]; driveline_drag_n_per_mps: T1 [N s/m]: at the contact patch
    yaw_sensitivity_per_rad2: k_β [1/rad²]
    """

    mass_kg: ArrayLike
    effective_mass_kg: ArrayLike
    drag_area_m2: ArrayLike
    c0: ArrayLike
    downforce_area_m2: ArrayLike = 0.0
    c1_s_per_m: ArrayLike = 0.0
    driveline_drag_n: ArrayLike = 0.0
    driveline_drag_n_per_mps: ArrayLike = 0.0
    yaw_sensitivity_per_rad2: ArrayLike = 0.0

    def __post_init__(self) -> None:
        require_positive(mass_kg=self.mass_kg, effective_mass_kg=self.effective_mass_kg)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Air, wind and slope where the car is; each a number or an array that broadcasts with the speeds.

    density_kgm3: ρ [kg/m³]; head_wind_mps: w_x, against the car; cross_wind_mps: w_y [m/s]
    grade: γ, rise over run, uphill in the direction of travel [-]; gravity_mps2: g [m/s²]
    """

    density_kgm3: ArrayLike
    head_wind_mps: ArrayLike = 0.0
    cross_wind_mps: ArrayLike = 0.0
    grade: ArrayLike = 0.0
    gravity_mps2: ArrayLike = STANDARD_GRAVITY

    def __post_init__(self) -> None:
        require_positive(density_kgm3=self.density_kgm3, gravity_mps2=self.gravity_mps2)


class ResistanceForces(NamedTuple):
    """The pieces of the resistance, positive against the motion [N]."""

    rolling_n: FloatArray
    driveline_n: FloatArray
    aerodynamic_n: FloatArray
    grade_n: FloatArray

    @property
    def total_n(self) -> FloatArray:
        """Sum of the pieces [N]."""
        return self.rolling_n + self.driveline_n + self.aerodynamic_n + self.grade_n


def dynamic_pressure(density_kgm3: ArrayLike, air_speed_mps: ArrayLike) -> FloatArray:
    """Dynamic pressure q = ½ ρ U². density_kgm3 [kg/m³], air_speed_mps [m/s]. Returns q [Pa]."""
    rho, U = floats(density_kgm3, air_speed_mps)
    return 0.5 * rho * U**2


def effective_mass(mass_kg: ArrayLike, axle_inertia_kgm2: ArrayLike, tyre_radius_m: ArrayLike) -> FloatArray:
    """Mass with the rotating parts: m_e = m + Σ J/r² over the axles.

    mass_kg: m [kg], any shape; axle_inertia_kgm2: J of all that turns with an axle, at wheel speed [kg m²];
    tyre_radius_m: rolling radius r [m]. The last axis of J and r runs over the axles and is summed.

    Returns m_e [kg]. Raises ValueError unless m and r are above zero and J not below.
    Source: kinetic energy of translation and rotation, ½ m v² + ½ Σ J (v/r)².
    """
    require_positive(mass_kg=mass_kg, tyre_radius_m=tyre_radius_m)
    require_not_negative(axle_inertia_kgm2=axle_inertia_kgm2)
    m, J, r = floats(mass_kg, axle_inertia_kgm2, tyre_radius_m)
    return np.asarray(m + np.sum(J / r**2, axis=-1))


def resistance_forces(speed_mps: ArrayLike, car: RoadLoadCar, around: Surroundings) -> ResistanceForces:
    """Every piece of the resistance of a coasting car at ground speed v.

    rolling (c0 + c1 v)(m g + ½ρU² SCz); driveline T0 + T1 v; aerodynamic ½ρU² SCx (1 + k_β β²); grade m g γ.
    The wind must not overtake the car: v + w_x > 0.

    speed_mps: v [m/s], any shape. Returns forces [N] of the broadcast shape.
    Source: the equation of motion at the head of this file; grade as in 40 CFR 1037.528 (rise over run, whose
    difference from the sine is 5·10⁻⁵ of the force at 1 %).
    """
    v, m, g, gamma = floats(speed_mps, car.mass_kg, around.gravity_mps2, around.grade)
    T0, T1 = floats(car.driveline_drag_n, car.driveline_drag_n_per_mps)
    SCx, SCz, k_beta = floats(car.drag_area_m2, car.downforce_area_m2, car.yaw_sensitivity_per_rad2)
    U = air_speed(v, around.head_wind_mps, around.cross_wind_mps)
    beta = yaw_angle(v, around.head_wind_mps, around.cross_wind_mps)
    q = dynamic_pressure(around.density_kgm3, U)
    return ResistanceForces(
        rolling_n=rolling_resistance(v, m * g + q * SCz, car.c0, car.c1_s_per_m),
        driveline_n=T0 + T1 * v,
        aerodynamic_n=q * SCx * (1.0 + k_beta * beta**2),
        grade_n=m * g * gamma,
    )


def acceleration(speed_mps: ArrayLike, car: RoadLoadCar, around: Surroundings) -> FloatArray:
    """Acceleration of the coasting car, negative while it slows: dv/dt = -F(v)/m_e.

    speed_mps: v [m/s], any shape. Returns dv/dt [m/s²], broadcast shape.
    """
    (m_e,) = floats(car.effective_mass_kg)
    return -resistance_forces(speed_mps, car, around).total_n / m_e


def force_from_deceleration(
    effective_mass_kg: ArrayLike,
    acceleration_mps2: ArrayLike,
    mass_kg: ArrayLike = 0.0,
    grade: ArrayLike = 0.0,
    gravity_mps2: ArrayLike = STANDARD_GRAVITY,
) -> FloatArray:
    """Resistance on the level from a measured deceleration: F = -m_e dv/dt - m g γ.

    effective_mass_kg: m_e; mass_kg: m [kg]; acceleration_mps2: dv/dt [m/s²]; grade: γ [-]
    gravity_mps2: g [m/s²]
    Returns F [N], broadcast shape. Source: 40 CFR 1037.528, road-load force with grade.
    """
    m_e, a, m, gamma, g = floats(effective_mass_kg, acceleration_mps2, mass_kg, grade, gravity_mps2)
    return -m_e * a - m * g * gamma


def polynomial_coefficients(
    car: RoadLoadCar, density_kgm3: ArrayLike, gravity_mps2: ArrayLike = STANDARD_GRAVITY
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The same resistance on the level in still air as F = f0 + f1 v + f2 v² + f3 v³.

    f0 = c0 m g + T0;  f1 = c1 m g + T1;  f2 = ½ρ (SCx + c0 SCz);  f3 = ½ρ c1 SCz

    density_kgm3: ρ [kg/m³]; gravity_mps2: g [m/s²]. Returns f0 [N], f1 [N s/m], f2 [N s²/m²], f3 [N s³/m³].
    """
    m, g, rho, c_0, c_1 = floats(car.mass_kg, gravity_mps2, density_kgm3, car.c0, car.c1_s_per_m)
    T0, T1 = floats(car.driveline_drag_n, car.driveline_drag_n_per_mps)
    SCx, SCz = floats(car.drag_area_m2, car.downforce_area_m2)
    return c_0 * m * g + T0, c_1 * m * g + T1, 0.5 * rho * (SCx + c_0 * SCz), 0.5 * rho * c_1 * SCz
