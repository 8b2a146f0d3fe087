"""What the posterior of day effects says of combinations: alone, together, and whether days agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr
from scipy.stats import chi2

from server.inference.day_effects import DayTold, Effects, own_and_shared
from server.inference.gum import FloatArray

DRAWN = 40_000
NO_SHARE = 1e-7  # of the likeliest point's: what has less moves no digit
HALF_U = 0.682689492137086
POWER_80 = 0.8416212  # 80 % point of the normal distribution
_SEED = 20_260_101  # of the draws: the same days give the same digits


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """A combination Σ c_s θ_s: its value, half width u of the central 68 %, u95 of the central 95 %; p: of zero.

    shared_u: the part of u that further days do not shrink; smallest_seen: what would be detected with 80 %
    probability at the 5 % level.
    """

    value: float
    u: float
    u95: float
    p: float
    shared_u: float
    smallest_seen: float


def told(effects: Effects, weights: FloatArray) -> Told:
    """A combination of the quantities, e.g. +1 of a setup and −1 of the baseline. weights: c, (p,)."""
    used = effects.shares > NO_SHARE * np.max(effects.shares)
    shares = effects.shares[used] / np.sum(effects.shares[used])
    mean = effects.means[used] @ weights
    own = np.einsum("i,gij,j->g", weights, effects.covariances[used], weights)
    common = np.sum(np.einsum("i,gik->gk", weights, effects.shared[used]) ** 2, axis=1)
    sd = np.sqrt(own + common)
    low, high = (_quantile(q, mean, sd, shares) for q in (0.025, 0.975))
    near, far = (_quantile(q, mean, sd, shares) for q in (0.5 - 0.5 * HALF_U, 0.5 + 0.5 * HALF_U))
    value = _quantile(0.5, mean, sd, shares)
    below = float(shares @ ndtr(-mean / sd))
    u95, u = 0.5 * (high - low), 0.5 * (far - near)
    p = min(1.0, 2.0 * min(below, 1.0 - below))
    return Told(value, u, u95, p, float(np.sqrt(shares @ common)), u95 + POWER_80 * u)


def _quantile(q: float, mean: FloatArray, sd: FloatArray, shares: FloatArray) -> float:
    """Of a mixture of normals, by bisection."""
    low, high = float(np.min(mean - 9.0 * sd)), float(np.max(mean + 9.0 * sd))
    for _ in range(48):
        middle = 0.5 * (low + high)
        below = float(shares @ ndtr((middle - mean) / sd))
        low, high = (middle, high) if below < q else (low, middle)
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Combinations judged together. factor: c, of intervals value ± c U95 that all hold with 95 %; p: (k,), how often
    the largest of k true zeros would look as large."""

    factor: float
    p: FloatArray


def together(effects: Effects, weights: FloatArray, alone: Sequence[Told]) -> Together:
    """Single-step max-|t| intervals from draws of the posterior, Dunnett's test where all have one baseline.

    weights: a row a combination, (k, p); alone: what `told` says of each.
    """
    rng = np.random.default_rng(_SEED)
    counts = rng.multinomial(DRAWN, effects.shares)
    used = np.flatnonzero(counts)
    means = effects.means[used] @ weights.T - np.array([one.value for one in alone])
    covariances = weights @ effects.whole()[used] @ weights.T
    values, vectors = np.linalg.eigh(covariances)
    roots = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    place = np.repeat(np.arange(used.size), counts[used])
    normal = rng.standard_normal((DRAWN, len(weights)))
    off = np.abs(means[place] + np.einsum("nij,nj->ni", roots[place], normal))
    u95 = np.array([one.u95 for one in alone])
    largest = np.max(off / u95, axis=1)
    seen = np.array([abs(one.value) for one in alone]) / u95
    p = np.array([np.mean(largest >= one) for one in seen])
    return Together(max(1.0, float(np.quantile(largest, 0.95))), np.clip(p, [one.p for one in alone], 1.0))


def spread_p(days: Sequence[DayTold], count: int) -> float | None:
    """How often differences within days lie so far apart where each is the same on every day; None: nothing to judge.

    Q = Σ_i (D_i y_i − D_i X_i θ)ᵀ (D_i V_i D_iᵀ)⁻¹ ( … ) ~ χ², D_i: differences of a day's values to its first.
    Source: W. G. Cochran, Biometrics 10 (1954) 101, for several differences a day (from memory).
    """
    rows, values = [], []
    for day in days:
        k = len(day.places)
        if k < 2:
            continue
        own, _ = own_and_shared(day.covariance, day.shared)
        to_first = np.hstack([-np.ones((k - 1, 1)), np.eye(k - 1)])
        whiten = np.linalg.inv(np.linalg.cholesky(to_first @ own @ to_first.T)) @ to_first
        pick = np.zeros((k, count))
        pick[np.arange(k), day.places] = 1.0
        rows.append(whiten @ pick)
        values.append(whiten @ day.values)
    if not rows:
        return None
    design, told_values = np.vstack(rows), np.concatenate(values)
    fitted, _, rank, _ = np.linalg.lstsq(design, told_values, rcond=None)
    dof = told_values.size - int(rank)
    return float(chi2.sf(np.sum((told_values - design @ fitted) ** 2), dof)) if dof > 0 else None


def sd_of(sd: FloatArray, shares: FloatArray) -> tuple[float, float, float]:
    """Median and 95 % bounds of τ_b or τ_d."""
    order = np.argsort(sd, kind="stable")
    below = np.cumsum(shares[order])
    middle, low, high = (float(sd[order][np.searchsorted(below, q)]) for q in (0.5, 0.025, 0.975))
    return middle, low, high


def apart_p(effects: Effects, weights: FloatArray, value: float, own_variance: float) -> float:
    """How often a further day's difference would lie so far from what the other days tell.

    effects: of the other days; own_variance: of the day's own errors in the difference.
    """
    mean = effects.means @ weights - value
    own = np.einsum("i,gij,j->g", weights, effects.covariances, weights)
    sd = np.sqrt(own + own_variance + effects.own_sd**2 * float(weights @ weights))
    below = float(effects.shares @ ndtr(-mean / sd))
    return min(1.0, 2.0 * min(below, 1.0 - below))
