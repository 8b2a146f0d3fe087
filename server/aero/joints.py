"""Coulomb friction in the joints of a suspension: what of an axle's load the springs see."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, floats, require_not_negative, require_positive


def load_through_joints(axle_load_n: ArrayLike, joint_friction_n: float) -> FloatArray:
    """What reaches the springs of an axle through joints with Coulomb friction: a play of ± 2 f.

    P_k = min(max(P_{k-1}, F_k - 2 f), F_k + 2 f),  P_0 = F_0

    axle_load_n: F, a load in order of time, shape (n,) [N]; joint_friction_n: f of one corner, at the wheel [N]

    Returns P [N], shape (n,). In a load that only falls P - F becomes 2 f and stays there: a constant that the
    zero of a coast-down takes up. Raises ValueError for a negative friction or a load that is no row of values.
    Source: the play (backlash) operator of hysteresis, M. A. Krasnosel'skii, A. V. Pokrovskii, Systems with
    Hysteresis, 1989, ch. 1 (from memory).
    """
    require_not_negative(joint_friction_n=joint_friction_n)
    load = np.ascontiguousarray(axle_load_n, dtype=np.float64)
    if load.ndim != 1 or load.size == 0:
        raise ValueError("axle_load_n must be a row of values in order of time")
    return np.asarray(_play(load, 2.0 * joint_friction_n))


def friction_travel(joint_friction_n: ArrayLike, axle_wheel_rate_n_per_m: ArrayLike) -> FloatArray:
    """Half the band of wheel travel in which joint friction holds a settled axle: δ = 2 f / K.

    joint_friction_n: f of one corner, at the wheel [N]; axle_wheel_rate_n_per_m: K, whole axle [N/m].
    Returns δ [m], broadcast shape. Raises ValueError for a negative friction or a rate not above zero.
    Source: the play of `load_through_joints` over the rate.
    """
    require_not_negative(joint_friction_n=joint_friction_n)
    require_positive(axle_wheel_rate_n_per_m=axle_wheel_rate_n_per_m)
    f, K = floats(joint_friction_n, axle_wheel_rate_n_per_m)
    return 2.0 * f / K


@numba.njit(cache=True)  # type: ignore[untyped-decorator] # numba has no types
def _play(load: FloatArray, band: float) -> FloatArray:
    held = np.empty_like(load)
    now = load[0]
    for k in range(load.shape[0]):
        now = min(max(now, load[k] - band), load[k] + band)
        held[k] = now
    return held
