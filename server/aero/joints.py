"""Coulomb friction in the joints of a suspension: what of an axle's load the springs see."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import ArrayLike

from server.aero.arguments import FloatArray, require_not_negative


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


@numba.njit(cache=True)  # type: ignore[untyped-decorator] # numba has no types
def _play(load: FloatArray, band: float) -> FloatArray:
    held = np.empty_like(load)
    now = load[0]
    for k in range(load.shape[0]):
        now = min(max(now, load[k] - band), load[k] + band)
        held[k] = now
    return held
