"""What areas mean at a steady speed: forces, the speed that carries the weight, ratios, Cd and Cl."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_positive
from server.aero.constants import STANDARD_GRAVITY
from server.aero.road_load import dynamic_pressure


def aerodynamic_force(area_m2: ArrayLike, density_kgm3: ArrayLike, speed_mps: ArrayLike) -> FloatArray:
    """Force of an area in still air: F = ½ ρ v² S; drag from SCx, downforce from SCz.

    area_m2: S [m²]; density_kgm3: ρ [kg/m³]; speed_mps: v [m/s]. Returns F [N], broadcast shape.
    """
    (S,) = floats(area_m2)
    return dynamic_pressure(density_kgm3, speed_mps) * S


def speed_of_weight(
    mass_kg: ArrayLike,
    downforce_area_m2: ArrayLike,
    density_kgm3: ArrayLike,
    gravity_mps2: ArrayLike = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed at which the downforce equals the weight: v = sqrt(2 m g / (ρ SCz)); infinite for SCz ≤ 0.

    mass_kg: m [kg]; downforce_area_m2: SCz, positive down [m²]; density_kgm3: ρ [kg/m³]; gravity_mps2 [m/s²].
    Returns v [m/s], broadcast shape. Raises ValueError unless m and ρ are above zero.
    """
    require_positive(mass_kg=mass_kg, density_kgm3=density_kgm3)
    m, SCz, rho, g = floats(mass_kg, downforce_area_m2, density_kgm3, gravity_mps2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(SCz > 0.0, np.sqrt(2.0 * m * g / (rho * SCz)), np.inf)


def downforce_to_drag(downforce_area_m2: ArrayLike, drag_area_m2: ArrayLike) -> FloatArray:
    """Downforce over drag, L/D = SCz / SCx [-], downforce counted positive.

    downforce_area_m2: SCz; drag_area_m2: SCx [m²]. Raises ValueError unless SCx is above zero.
    """
    require_positive(drag_area_m2=drag_area_m2)
    SCz, SCx = floats(downforce_area_m2, drag_area_m2)
    return SCz / SCx


def front_balance(front_area_m2: ArrayLike, rear_area_m2: ArrayLike) -> FloatArray:
    """Share of the downforce that the front axle carries: SCz_front / (SCz_front + SCz_rear) [-].

    front_area_m2, rear_area_m2: downforce areas [m²]. Returns nan where their sum is not above zero.
    """
    front, rear = floats(front_area_m2, rear_area_m2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(front + rear > 0.0, front / (front + rear), np.nan)


def area_from_coefficient(
    coefficient: ArrayLike, reference_area_m2: ArrayLike, share: float = 1.0
) -> FloatArray:
    """Area of a coefficient: S = C A / share. For downforce give -C_l (lift counts positive upwards).

    coefficient: C [-]; reference_area_m2: A, of the whole car [m²]
    share: part of the car whose force the coefficient holds: 1 whole, 0.5 for a half model [-]

    Returns S [m²]. Raises ValueError unless A and share are above zero. Source: definition, SAE J1594.
    """
    require_positive(reference_area_m2=reference_area_m2, share=share)
    C, A = floats(coefficient, reference_area_m2)
    return C * A / share


def coefficient_from_area(area_m2: ArrayLike, reference_area_m2: ArrayLike) -> FloatArray:
    """Coefficient of an area: C = S / A [-]. area_m2: S; reference_area_m2: A [m²], above zero."""
    require_positive(reference_area_m2=reference_area_m2)
    S, A = floats(area_m2, reference_area_m2)
    return S / A


def area_from_force(force_n: ArrayLike, density_kgm3: ArrayLike, speed_mps: ArrayLike) -> FloatArray:
    """Area of a force measured at a steady air speed: S = 2 F / (ρ v²).

    force_n: F [N]; density_kgm3: ρ [kg/m³]; speed_mps: v [m/s]. Returns S [m²].
    Raises ValueError unless ρ and v are above zero.
    """
    require_positive(density_kgm3=density_kgm3, speed_mps=speed_mps)
    F, rho, v = floats(force_n, density_kgm3, speed_mps)
    return 2.0 * F / (rho * v**2)


def apparent_drag_area(drag_area_m2: ArrayLike, downforce_area_m2: ArrayLike, c0: ArrayLike) -> FloatArray:
    """What a coast-down sees as drag area: SCx + c0 SCz, since downforce loads the tyres.

    drag_area_m2: SCx; downforce_area_m2: SCz [m²]; c0: rolling resistance coefficient [-]. Returns [m²].
    """
    SCx, SCz, c_0 = floats(drag_area_m2, downforce_area_m2, c0)
    return SCx + c_0 * SCz
