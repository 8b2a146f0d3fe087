"""Several quantities over days that each measured some of them: differences with a random effect of the day.

Day i tells y_is = θ_s + b_i + d_is + Σ_k L_isk z_k + e_is of each quantity s that it measured: b_i ~ N(0, τ_b²) is what
the day does to all of them alike, d_is ~ N(0, τ_d²) what it does to one alone (put on again, it is not quite the same),
e_i ~ N(0, V_i) the day's own errors with their joint covariance, and z_k ~ N(0, 1) errors that are the same on every
day. Differences within a day are free of b; days that measured one alone tell of differences as far as τ_b lets them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.inference.gum import FloatArray

POINTS = 28  # of each τ: places of equal prior probability
WIDER = 1.25
PLACES = np.tan(0.5 * np.pi * (np.arange(POINTS) + 0.5) / POINTS)


@dataclass(frozen=True, slots=True, eq=False)
class DayTold:
    """What one day tells. places: which of the quantities, (k,); values: (k,); covariance: the whole of it, (k, k);
    shared: loads of the errors that all days have in common, (k, K), a column each."""

    places: tuple[int, ...]
    values: FloatArray
    covariance: FloatArray
    shared: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Effects:
    """The posterior of all quantities as a mixture over (τ_b, τ_d): shares (G,), means (G, p), covariances (G, p, p).

    shared: (G, p, K), how the common errors move the quantities; between_sd, own_sd: τ_b and τ_d of each point.
    """

    shares: FloatArray
    means: FloatArray
    covariances: FloatArray
    shared: FloatArray
    between_sd: FloatArray
    own_sd: FloatArray

    def whole(self) -> FloatArray:
        """Covariances with the common errors in them, (G, p, p)."""
        return self.covariances + self.shared @ np.swapaxes(self.shared, 1, 2)


def own_and_shared(covariance: FloatArray, shared: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A day's own covariance and its loads of the common errors; together they are the whole covariance.

    Where the loads say more than the day's covariance holds, they are cut to it: with V^(−1/2) L = U D Wᵀ,
    L' = V^(1/2) U min(D, 1) Wᵀ.
    """
    values, vectors = np.linalg.eigh(covariance)
    if not np.all(values > 0.0):
        raise ValueError("covariance: must be positive definite")
    root = vectors * np.sqrt(values)
    left, size, right = np.linalg.svd((vectors / np.sqrt(values)).T @ shared, full_matrices=False)
    cut = root @ (left * np.minimum(size, 1.0)) @ right
    return covariance - cut @ cut.T, cut


def day_effects(days: Sequence[DayTold], count: int) -> Effects:
    """The posterior of `count` quantities from all days, integrated over τ_b and τ_d.

    p(τ) ∝ half-Cauchy(τ_b; s_b) half-Cauchy(τ_d; s_d) |Σ|^(−1/2) |XᵀΣ⁻¹X|^(−1/2) exp(−½ rᵀΣ⁻¹r): the restricted
    likelihood. s_b and s_d are a typical u of the days' own values and of their differences: heavy tails, so that
    days that lie far apart are believed. The common errors are in no weight (fully correlated relative errors would
    draw a mean below all that it is a mean of: Peelle's puzzle) and whole in every covariance.

    Raises ValueError where a quantity is told by no day.
    Source: D. A. Harville, J. Am. Stat. Assoc. 72 (1977) 320 (restricted likelihood); A. Gelman, Bayesian Analysis 1
    (2006) 515 (half-Cauchy); C. Röver, J. Stat. Software 93 (2020) 6 (mixture over a grid) (from memory).
    """
    if {place for day in days for place in day.places} != set(range(count)):
        raise ValueError("days: every quantity needs a day that tells it")
    split = [own_and_shared(day.covariance, day.shared) for day in days]
    scale = float(np.median(np.concatenate([np.sqrt(np.diag(day.covariance)) for day in days])))
    between, own = _places([own for own, _ in split], scale)
    return _mixture(days, split, count, between, own)


def _places(owns: Sequence[FloatArray], scale: float) -> tuple[FloatArray, FloatArray]:
    """All pairs of τ_b and τ_d, (G,) each: of equal prior probability."""
    spread = PLACES
    alike = max(_typical(np.concatenate([np.diag(own) for own in owns])), 1e-3 * scale)
    differing = [_difference_variance(own) for own in owns if len(own) > 1]
    alone = max(_typical(np.array(differing)) / np.sqrt(2.0), 1e-3 * scale) if differing else alike
    between, own = np.meshgrid(alike * spread, alone * spread, indexing="ij")
    return between.ravel(), own.ravel()


def _typical(variances: FloatArray) -> float:
    """u of a typical one, the sharp ones counting most: `WIDER` times √ of their harmonic mean."""
    if not np.all(variances > 0.0):
        return 0.0
    return WIDER * float(np.sqrt(1.0 / np.mean(1.0 / variances)))


def _difference_variance(own: FloatArray) -> float:
    """Of a typical difference within a day: twice the mean variance about the day's mean."""
    k = len(own)
    return float(max(2.0 * (np.trace(own) - np.sum(own) / k) / (k - 1), 0.0))


def _mixture(
    days: Sequence[DayTold],
    split: Sequence[tuple[FloatArray, FloatArray]],
    count: int,
    between: FloatArray,
    own_sd: FloatArray,
) -> Effects:
    points, inputs = len(between), days[0].shared.shape[1]
    precision, pull = np.zeros((points, count, count)), np.zeros((points, count))
    moved, likelihood = np.zeros((points, count, inputs)), np.zeros(points)
    for day, (own, shared) in zip(days, split, strict=True):
        at, k = np.array(day.places), len(day.places)
        whole = own + between[:, None, None] ** 2 * np.ones((k, k)) + own_sd[:, None, None] ** 2 * np.eye(k)
        weight = np.linalg.inv(whole)
        precision[:, at[:, None], at] += weight
        pull[:, at] += weight @ day.values
        moved[:, at] += weight @ shared
        likelihood -= 0.5 * (np.linalg.slogdet(whole)[1] + np.einsum("i,gij,j->g", day.values, weight, day.values))
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    means = np.einsum("gij,gj->gi", covariance, pull)
    likelihood += 0.5 * (np.einsum("gi,gi->g", means, pull) - np.linalg.slogdet(precision)[1])
    shares = np.exp(likelihood - np.max(likelihood))
    shared_by = np.asarray(covariance @ moved, dtype=np.float64)
    return Effects(shares / shares.sum(), means, covariance, shared_by, between, own_sd)
