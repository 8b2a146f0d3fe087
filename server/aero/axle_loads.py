"""Load on each axle, at the ground, away from its value at rest."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_positive
from server.aero.constants import STANDARD_GRAVITY
from server.aero.road_load import dynamic_pressure


class AxleLoads(NamedTuple):
    """Front and rear axle load, positive down [N]."""

    front_n: FloatArray
    rear_n: FloatArray


def static_axle_loads(
    mass_kg: ArrayLike, front_weight: ArrayLike, gravity_mps2: ArrayLike = STANDARD_GRAVITY
) -> AxleLoads:
    """Axle loads of the standing car: m g times the front share, and the rest.

    mass_kg: m [kg]; front_weight: share on the front axle [-]; gravity_mps2: g [m/s²]. Returns loads [N].
    """
    m, share, g = floats(mass_kg, front_weight, gravity_mps2)
    return AxleLoads(m * g * share, m * g * (1.0 - share))


def load_transfer(
    acceleration_mps2: ArrayLike,
    mass_kg: ArrayLike,
    cg_height_m: ArrayLike,
    wheelbase_m: ArrayLike,
    *,
    axle_inertia_kgm2: ArrayLike = 0.0,
    tyre_radius_m: ArrayLike = 1.0,
    grade: ArrayLike = 0.0,
    gravity_mps2: ArrayLike = STANDARD_GRAVITY,
) -> FloatArray:
    """Load that acceleration, slope and the spin of the wheels move from the front axle to the rear.

    ΔN = [ m (dv/dt + g γ) h + (Σ J/r) dv/dt ] / L

    acceleration_mps2: dv/dt, negative while coasting [m/s²]; mass_kg: m [kg]
    cg_height_m: h; wheelbase_m: L [m]
    axle_inertia_kgm2: J of what turns with an axle, at wheel speed [kg m²]; tyre_radius_m: rolling
    radius r [m]: each (front, rear), or one number for all wheels together
    grade: γ, uphill in the direction of travel [-]; gravity_mps2: g [m/s²]

    Returns ΔN [N], broadcast shape; negative (towards the front) while braking or coasting.
    Raises ValueError unless m, L and r are above zero.
    Source: moments about a ground contact line, T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 1
    (from memory), with the angular momentum of the wheels. Left out: a rolling tyre's contact moves ahead by
    about c0 r, which carries about c0 r/L = 0.3 % of the whole downforce from the front axle to the rear.
    """
    require_positive(mass_kg=mass_kg, wheelbase_m=wheelbase_m, tyre_radius_m=tyre_radius_m)
    a, m, h, L = floats(acceleration_mps2, mass_kg, cg_height_m, wheelbase_m)
    J, r, gamma, g = floats(axle_inertia_kgm2, tyre_radius_m, grade, gravity_mps2)
    spin = np.sum(J / r)
    return np.asarray((m * (a + g * gamma) * h + spin * a) / L)


def axle_load_change(
    density_kgm3: ArrayLike,
    air_speed_mps: ArrayLike,
    front_area_m2: ArrayLike,
    rear_area_m2: ArrayLike,
    transfer_n: ArrayLike = 0.0,
) -> AxleLoads:
    """Axle loads away from static.

    F_front = ½ρU² SCz_front - ΔN,  F_rear = ½ρU² SCz_rear + ΔN

    density_kgm3: ρ [kg/m³]; air_speed_mps: U [m/s]
    front_area_m2, rear_area_m2: downforce areas at the ground, positive down [m²]
    transfer_n: ΔN of `load_transfer` [N]

    Returns (F_front, F_rear) [N], broadcast shape. Source: the same moment balance as `load_transfer`.
    """
    front, rear, transfer = floats(front_area_m2, rear_area_m2, transfer_n)
    q = dynamic_pressure(density_kgm3, air_speed_mps)
    return AxleLoads(q * front - transfer, q * rear + transfer)


def areas_from_axle_loads(
    front_load_n: ArrayLike,
    rear_load_n: ArrayLike,
    density_kgm3: ArrayLike,
    air_speed_mps: ArrayLike,
    transfer_n: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Downforce areas from load changes: the inverse of `axle_load_change`.

    front_load_n, rear_load_n: loads away from static [N]; the rest as in `axle_load_change`, U above zero.
    Returns (SCz_front, SCz_rear) [m²], broadcast shape. Raises ValueError unless ρ and U are above zero.
    """
    require_positive(density_kgm3=density_kgm3, air_speed_mps=air_speed_mps)
    front, rear, transfer = floats(front_load_n, rear_load_n, transfer_n)
    q = dynamic_pressure(density_kgm3, air_speed_mps)
    return (front + transfer) / q, (rear - transfer) / q
