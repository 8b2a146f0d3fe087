"""How a car rides: rates of an axle with everything that carries it, how far the body sinks."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats
from server.aero.suspension import Table, axle_load_from_heave_table, series_rate, wheel_rate


def heave_rate(wheel_travel_m: ArrayLike, heave_table: Table) -> FloatArray:
    """Rate of a heave spring or bump stop at a wheel travel: K_h = ΔF/Δz of the table's stretch there.

    wheel_travel_m: z, mean of left and right, bump positive [m]
    heave_table: (wheel travel [m], axle force [N]), rising travel

    Returns K_h [N/m], same shape: at a point of the table the stretch ahead of it, at its last point the one
    before; nan outside the table. Raises ValueError for a table of fewer than two points or that does not rise.
    Source: definition of a rate, dF/dz.
    """
    (x,) = floats(wheel_travel_m)
    inside = np.isfinite(axle_load_from_heave_table(x, heave_table))
    z, F = np.array(heave_table, dtype=np.float64).T
    piece = np.clip(np.searchsorted(z, x, side="right") - 1, 0, len(z) - 2)
    return np.where(inside, (np.diff(F) / np.diff(z))[piece], np.nan)


def axle_wheel_rate(
    spring_rate_n_per_m: ArrayLike,
    motion_ratio: ArrayLike,
    heave_table: Table = (),
    wheel_travel_m: ArrayLike = 0.0,
) -> FloatArray:
    """Rate of an axle at its wheels, heave spring and bump stops in parallel: K = 2 k MR² + K_h.

    spring_rate_n_per_m: k, one corner [N/m]; motion_ratio: MR, damper over wheel travel [-]
    heave_table: (wheel travel [m], axle force [N]) of the whole axle, or empty
    wheel_travel_m: where on that table [m]

    Returns K [N/m], broadcast shape; nan outside the table. Raises ValueError unless k and MR are above zero.
    Source: W. F. Milliken, D. L. Milliken, Race Car Vehicle Dynamics, ch. 16 (from memory); springs side by
    side add up.
    """
    corners = 2.0 * wheel_rate(spring_rate_n_per_m, motion_ratio)
    if len(heave_table) == 0:
        return corners + 0.0 * np.asarray(wheel_travel_m, dtype=np.float64)
    return corners + heave_rate(wheel_travel_m, heave_table)


def axle_ride_rate(axle_wheel_rate_n_per_m: ArrayLike, tyre_rate_n_per_m: ArrayLike) -> FloatArray:
    """Rate of a body over an axle against the ground: 1/K_r = 1/K + 1/(2 K_t).

    axle_wheel_rate_n_per_m: K of `axle_wheel_rate` [N/m]; tyre_rate_n_per_m: K_t, one tyre [N/m]

    Returns K_r [N/m], broadcast shape. Raises ValueError unless both are above zero.
    Source: T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 5, ride rate (from memory).
    """
    (K_t,) = floats(tyre_rate_n_per_m)
    return series_rate(axle_wheel_rate_n_per_m, 2.0 * K_t)


def body_sink(
    axle_load_n: ArrayLike,
    spring_load_n: ArrayLike,
    axle_wheel_rate_n_per_m: ArrayLike,
    tyre_rate_n_per_m: ArrayLike,
    tyre_growth_m: ArrayLike = 0.0,
) -> FloatArray:
    """How far the body has come down over an axle since standing: s = P/K + F/(2 K_t) - Δr.

    axle_load_n: F, load at the ground away from standing [N]
    spring_load_n: P, what of it the springs carry: F less what links and joints hold [N]
    axle_wheel_rate_n_per_m: K [N/m]; tyre_rate_n_per_m: K_t, one tyre [N/m]
    tyre_growth_m: Δr of `radius_growth` [m]

    Returns s [m], positive down, broadcast shape. Raises ValueError unless both rates are above zero.
    Source: springs and tyres one behind the other, Gillespie ch. 5 (from memory).
    """
    F, P, K, K_t, grown = floats(axle_load_n, spring_load_n, axle_wheel_rate_n_per_m, tyre_rate_n_per_m, tyre_growth_m)
    series_rate(K, K_t)
    return P / K + F / (2.0 * K_t) - grown
