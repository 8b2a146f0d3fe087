"""Estimates and differences from samples of the posterior."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from server.analysis.result import Delta, Estimate
from server.testday.values import FloatArray, Source

SEEN_FACTOR = 1.959964 + 0.841621  # two-sided 5 %, power 80 % (normal quantiles)


def estimate(samples: FloatArray, unit: str, source: Source) -> Estimate:
    """Mean, standard deviation and central 95 % interval of samples (n,)."""
    low, high = np.quantile(samples, [0.025, 0.975])
    return Estimate(float(np.mean(samples)), float(np.std(samples)), float(low), float(high), unit, source)


def delta(setup: FloatArray, baseline: FloatArray, unit: str) -> Delta:
    """Difference of two quantities from joint samples (n,) each.

    p: two-sided, of no difference, from the sampled posterior taken as normal; shared_u: the part of either
    u that cancels, √((u_a² + u_b² − u_Δ²)/2), 0 where nothing cancels.
    """
    difference = setup - baseline
    value, u = float(np.mean(difference)), float(np.std(difference))
    low, high = np.quantile(difference, [0.025, 0.975])
    p = float(2.0 * ndtr(-abs(value) / u)) if u > 0 else float(value == 0.0)
    shared = 0.5 * (float(np.var(setup)) + float(np.var(baseline)) - u**2)
    return Delta(value, u, float(low), float(high), p, SEEN_FACTOR * u, unit, float(np.sqrt(max(shared, 0.0))))
