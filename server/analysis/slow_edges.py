"""Ends of a coast-down in a log with only one or two samples a second: sample by sample from its core.

A coasting car's speed is v(t) = b − a0 τ − a2 ∫v² dτ. Fitted inside, it foretells the next sample outwards;
the coast-down ends where a sample lies further off than noise, extrapolation and gusts allow.
"""

from __future__ import annotations

import numpy as np

from server.testday.values import FloatArray

CORE = 24
SPARE = 5
BEYOND = 2
ENOUGH = 8
SURE = 2.0
GUST_MPS2 = 0.1


def grow_back(time_s: FloatArray, speed_mps: FloatArray, first: int, last: int, sigma_mps: float) -> int:
    """Index of the first sample that coasts, from a rough guess first … last; see `grow_on`."""
    n = len(time_s)
    mirrored = grow_on(-time_s[::-1], speed_mps[::-1], n - 1 - last, n - 1 - first, sigma_mps)
    return n - 1 - mirrored


def grow_on(time_s: FloatArray, speed_mps: FloatArray, first: int, last: int, sigma_mps: float) -> int:
    """Index of the last sample that coasts.

    time_s, speed_mps: the record, shape (n,) [s], [m/s]; first, last: rough ends (indices);
    sigma_mps: noise of a sample [m/s]. Looks at most two samples beyond the rough end.
    """
    spare = min(SPARE, max(0, (last - first - 5) // 2))
    at = last - spare
    low = max(first, last + 1 - CORE)
    furthest = last + BEYOND if last - first >= ENOUGH else last
    while at < min(furthest, len(time_s) - 1):
        if not _foretold(time_s[low : at + 2], speed_mps[low : at + 2], min(at, last) + 1 - low, sigma_mps):
            break
        at += 1
    return at


def _foretold(time_s: FloatArray, speed_mps: FloatArray, inner: int, sigma: float) -> bool:
    """Whether the last sample lies where the first `inner` ones foretell it."""
    tau = time_s - time_s[inner - 1]
    square = speed_mps**2
    pushed = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(tau) * (square[1:] + square[:-1]))])
    columns = [np.ones_like(tau), tau, (pushed - pushed[inner - 1]) / 100.0]
    design = np.column_stack(columns if inner >= 6 else columns[:2])
    covariance = np.linalg.pinv(design[:inner].T @ design[:inner])
    theta = covariance @ (design[:inner].T @ speed_mps[:inner])
    target = design[-1]
    spread = sigma * np.sqrt(1.0 + target @ covariance @ target)
    allowed = SURE * spread + GUST_MPS2 * abs(tau[-1])
    return bool(abs(speed_mps[-1] - target @ theta) <= allowed)
