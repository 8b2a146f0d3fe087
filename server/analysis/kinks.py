"""Where a speed record bends sharply: lift, brake, throttle.

    v(t) = v_k + a_in (t − k) + c (t − k)²   on the coasting side,    v_k + a_out (t − k)   on the other

Least squares for every k of a grid; the profile of what is left gives the best k and how far it may lie off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.testday.values import FloatArray

Side = Literal["after", "before"]
FEWEST = 6


@dataclass(frozen=True, slots=True)
class Kink:
    """Best time of the bend and the interval it lies in, all on the run's clock [s]."""

    best_s: float
    earliest_s: float
    latest_s: float


def find_kink(
    time_s: FloatArray,
    speed_mps: FloatArray,
    candidates_s: FloatArray,
    *,
    coasting: Side,
    sigma_mps: float,
    sure: float = 2.0,
) -> Kink | None:
    """The bend among candidates_s; None where fewer than six samples or no sample on one side.

    time_s, speed_mps: samples on both sides, shape (n,) [s], [m/s]; coasting: the side that coasts;
    sigma_mps: least noise of a sample [m/s]; sure: how many standard errors of k the interval reaches.
    """
    if len(time_s) < FEWEST or len(candidates_s) == 0:
        return None
    left = _left_over(time_s, speed_mps, candidates_s, coasting)
    best = int(np.argmin(left))
    noise = max(float(left[best]) / max(len(time_s) - 5, 1), sigma_mps**2)
    near = left <= left[best] + sure**2 * noise
    first, last = best, best
    while first > 0 and near[first - 1]:
        first -= 1
    while last < len(near) - 1 and near[last + 1]:
        last += 1
    return Kink(float(candidates_s[best]), float(candidates_s[first]), float(candidates_s[last]))


def _left_over(time_s: FloatArray, speed_mps: FloatArray, candidates_s: FloatArray, coasting: Side) -> FloatArray:
    """Sum of squares left for every candidate, shape (candidates,)."""
    tau = time_s[None, :] - candidates_s[:, None]
    within = tau > 0 if coasting == "after" else tau < 0
    inner = np.where(within, tau, 0.0)
    X = np.stack([np.ones_like(tau), inner, inner**2, tau - inner], axis=2)
    y = speed_mps - np.mean(speed_mps)
    across = X.transpose(0, 2, 1)
    product = across @ y
    theta = np.linalg.solve(across @ X + 1e-9 * np.eye(4), product[:, :, None])
    residual = y[None, :] - (X @ theta)[:, :, 0]
    return np.asarray(np.sum(residual**2, axis=1))
