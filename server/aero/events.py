"""What areas are worth on simple stretches of a course: quasi-static, one constant friction, nothing of a driver."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray
from server.aero.constants import STANDARD_GRAVITY

STEP_S = 0.01
LONGEST_S = 20.0


def cornering_speed(
    radius_m: ArrayLike, mass_kg: ArrayLike, friction: ArrayLike, density_kgm3: ArrayLike, downforce_area_m2: ArrayLike
) -> FloatArray:
    """Speed at which friction carries a corner: m v²/R = μ (m g + ½ρ v² SCz)  [m/s].

    v² = μ g R / (1 − μ ρ SCz R / (2 m)); infinite where downforce alone carries any speed.
    radius_m: of the path [m]; mass_kg [kg]; friction: μ [1]; density_kgm3 [kg/m³]; downforce_area_m2: SCz [m²]
    """
    r, m, mu, rho, scz = (
        np.asarray(each, float) for each in (radius_m, mass_kg, friction, density_kgm3, downforce_area_m2)
    )
    left = 1.0 - mu * rho * scz * r / (2.0 * m)
    squared = mu * STANDARD_GRAVITY * r / np.where(left > 0.0, left, 1.0)
    return np.asarray(np.sqrt(np.where(left > 0.0, squared, np.inf)))


def circle_time(radius_m: float, speed_mps: ArrayLike) -> FloatArray:
    """Time round a circle once: 2 π R / v  [s]."""
    return np.asarray(2.0 * math.pi * radius_m / np.asarray(speed_mps, float))


def slalom_radius(pitch_m: float, amplitude_m: float) -> float:
    """Smallest radius of the path y = A sin(π x / p) through cones p apart: p² / (π² A)  [m]."""
    return pitch_m**2 / (math.pi**2 * amplitude_m)


def slalom_length(pitch_m: float, amplitude_m: float) -> float:
    """Length of that path from cone to cone: p (1 + π² A² / (4 p²)), to the second order of A/p  [m]."""
    return pitch_m * (1.0 + (math.pi * amplitude_m / (2.0 * pitch_m)) ** 2)


def standing_start_time(
    distance_m: float,
    *,
    mass_kg: ArrayLike,
    power_w: ArrayLike,
    friction: ArrayLike,
    driven_share: ArrayLike,
    transfer: ArrayLike,
    resistance: ArrayLike,
    density_kgm3: ArrayLike,
    drag_area_m2: ArrayLike,
    driven_downforce_area_m2: ArrayLike,
    downforce_area_m2: ArrayLike,
) -> FloatArray:
    """Time over a distance from rest, as far as the driven axle grips and the power reaches  [s].

    m a = min(μ N_d, P/v) − ½ρ v² SCx − c0 (m g + ½ρ v² SCz),  N_d = m g s_d + ½ρ v² SCz_d + m a t
    t: share of m a that the drive force's own acceleration adds to the driven axle, h/L where the rear drives, −h/L
    where the front does, 0 for all; s_d: static share of the driven axle. By steps of 0.01 s (midpoint).
    distance_m [m]; mass_kg [kg]; power_w: at the tyres [W]; friction: μ; driven_share: s_d; transfer: t; resistance: c0
    (all [1]); density_kgm3 [kg/m³]; areas [m²]. Arrays are broadcast; nan where 20 s are not enough.
    """
    given = (mass_kg, power_w, friction, driven_share, transfer, resistance, density_kgm3)
    areas = (drag_area_m2, driven_downforce_area_m2, downforce_area_m2)
    m, power, mu, share, t, c0, rho, scx, scz_d, scz = np.broadcast_arrays(
        *(np.asarray(each, float) for each in (*given, *areas))
    )

    def acceleration(v: FloatArray) -> FloatArray:
        q = 0.5 * rho * v**2
        against = (q * scx + c0 * (m * STANDARD_GRAVITY + q * scz)) / m
        # μ N_d with the transfer of its own acceleration: F (1 − μ t) = μ (m g s_d + q SCz_d − m t · against)
        grip = mu * (STANDARD_GRAVITY * share + q * scz_d / m - t * against) / (1.0 - mu * t)
        return np.asarray(np.minimum(grip, power / (m * np.maximum(v, 0.1))) - against)

    v, x, taken = np.zeros(m.shape), np.zeros(m.shape), np.full(m.shape, np.nan)
    for step in range(round(LONGEST_S / STEP_S)):
        middle = v + 0.5 * STEP_S * acceleration(v)
        there = x + STEP_S * middle
        passed = np.isnan(taken) & (there >= distance_m)
        taken = np.where(passed, STEP_S * (step + (distance_m - x) / np.maximum(there - x, 1e-9)), taken)
        v, x = v + STEP_S * acceleration(middle), there
        if not np.isnan(taken).any():
            break
    return np.asarray(taken)


def air_energy(
    distance_m: ArrayLike, speed_mps: ArrayLike, density_kgm3: ArrayLike, area_m2: ArrayLike
) -> FloatArray:
    """Work against the air over a distance: ½ρ v² A s, v the root mean square speed  [J].

    distance_m [m]; speed_mps [m/s]; density_kgm3 [kg/m³]; area_m2: SCx, or SCx + c0 SCz with the tyres' share [m²]
    """
    s, v, rho, a = (np.asarray(each, float) for each in (distance_m, speed_mps, density_kgm3, area_m2))
    return np.asarray(0.5 * rho * v**2 * a * s)
