"""Tyres: rolling resistance against speed, load, inflation and temperature; growth with speed."""

from __future__ import annotations

from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_positive

SOFTENING_LIGHT_VEHICLE_PER_K = 0.008
"""K_t of passenger-car tyres (class C1) [1/K], UN Regulation 117, annex 6, about 25 °C."""


def rolling_resistance(
    speed_mps: ArrayLike, vertical_load_n: ArrayLike, c0: ArrayLike, c1_s_per_m: ArrayLike = 0.0
) -> FloatArray:
    """Rolling resistance rising linearly with speed: R = (c0 + c1 v) N.

    speed_mps: v [m/s]; vertical_load_n: weight and downforce on the tyres, N [N]
    c0: coefficient at standstill [-]; c1_s_per_m: its rise with speed [s/m]

    Returns R [N], broadcast shape. Source: form of T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 4
    (f_r = f_0 + f_1 v; from memory).
    """
    v, N, c_0, c_1 = floats(speed_mps, vertical_load_n, c0, c1_s_per_m)
    return (c_0 + c_1 * v) * N


def j2452_rolling_resistance(
    speed_mps: ArrayLike,
    axle_load_n: ArrayLike,
    pressure_pa: ArrayLike,
    *,
    tyres: ArrayLike,
    alpha: ArrayLike,
    beta: ArrayLike,
    a: ArrayLike,
    b: ArrayLike,
    c: ArrayLike,
) -> FloatArray:
    """Rolling resistance of an axle in the SAE J2452 form, coefficients as they are printed.

    F = n p^α (L/n)^β (a + b V + c V²), p in kPa, L in N, V in km/h

    speed_mps [m/s]; axle_load_n: load on the axle, L [N]; pressure_pa: inflation, p [Pa]
    tyres: number of tyres on the axle, n [-]; alpha, beta: exponents [-]
    a, b, c: in the source's units [N/(kPa^α N^β), same per km/h, same per (km/h)²]

    Returns F [N], broadcast shape. Raises ValueError unless load, pressure and n are above zero.
    Source: SAE J2452 as worked in 40 CFR 1037.528.
    """
    require_positive(axle_load_n=axle_load_n, pressure_pa=pressure_pa, tyres=tyres)
    v, L, p, n = floats(speed_mps, axle_load_n, pressure_pa, tyres)
    alpha_, beta_, a_, b_, c_ = floats(alpha, beta, a, b, c)
    V = 3.6 * v
    return n * (p / 1000.0) ** alpha_ * (L / n) ** beta_ * (a_ + b_ * V + c_ * V**2)


def rolling_at_reference_temperature(
    rolling: ArrayLike,
    temperature_k: ArrayLike,
    reference_k: ArrayLike,
    softening_per_k: ArrayLike = SOFTENING_LIGHT_VEHICLE_PER_K,
) -> FloatArray:
    """Rolling resistance as measured, carried to a reference temperature: R_ref = R [1 + K_t (T - T_ref)].

    rolling: force or coefficient at T, any unit; temperature_k: T, reference_k: T_ref [K]
    softening_per_k: K_t [1/K]

    Returns R_ref in the unit of `rolling`, broadcast shape. Source: UN Regulation 117, annex 6 (about 25 °C).
    """
    R, T, T_ref, K = floats(rolling, temperature_k, reference_k, softening_per_k)
    return R * (1.0 + K * (T - T_ref))


def rolling_at_temperature(
    reference_rolling: ArrayLike,
    temperature_k: ArrayLike,
    reference_k: ArrayLike,
    softening_per_k: ArrayLike = SOFTENING_LIGHT_VEHICLE_PER_K,
) -> FloatArray:
    """Rolling resistance of a reference temperature on the day: R = R_ref [1 + K_t (T_ref - T)].

    reference_rolling: force or coefficient at T_ref, any unit; temperature_k: T, reference_k: T_ref [K]
    softening_per_k: K_t [1/K]

    Returns R in the unit of `reference_rolling`, broadcast shape.
    Source: 40 CFR 1037.528, K_t = 0.006 for heavy vehicles about 24 °C.
    """
    R, T, T_ref, K = floats(reference_rolling, temperature_k, reference_k, softening_per_k)
    return R * (1.0 + K * (T_ref - T))


def radius_growth(speed_mps: ArrayLike, growth_m: ArrayLike, at_speed_mps: ArrayLike) -> FloatArray:
    """How much a tyre's radius has grown by its own spin: Δr = Δr_0 (v/v_0)².

    speed_mps: v [m/s]; growth_m: Δr_0, seen at v_0 [m]; at_speed_mps: v_0 [m/s]

    Returns Δr [m], broadcast shape: the body rises by it, and wheel speed reads low by Δr/r.
    Raises ValueError unless v_0 is above zero.
    Source: the spin's load on the tread goes as ω² and the carcass gives way in proportion (common practice,
    no source); at road speeds tenths of a millimetre.
    """
    require_positive(at_speed_mps=at_speed_mps)
    v, grown, v_0 = floats(speed_mps, growth_m, at_speed_mps)
    return grown * (v / v_0) ** 2
