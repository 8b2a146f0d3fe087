"""Several differences judged together: intervals that hold all at once, p-values that count how many were seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm, qmc
from scipy.stats import t as student

from server.inference.gum import FloatArray

POINTS = 1 << 15
_SEED = 20_260_101  # of the scrambled points: the same day gives the same digits


@dataclass(frozen=True, slots=True, eq=False)
class Simultaneous:
    """Differences judged together.

    factor: c, of intervals value ± c u that all hold with the level's probability; low, high: those intervals, (k,);
    p: adjusted p-values, (k,): how often the largest of k true zeros would look this large.
    """

    factor: float
    low: FloatArray
    high: FloatArray
    p: FloatArray


def simultaneous(
    values: Sequence[float], covariance: FloatArray, dof: float = np.inf, level: float = 0.95
) -> Simultaneous:
    """Single-step max-|t| intervals of k correlated differences.

    P( max_i |T_i| ≤ c ) = level,  T = Z / sqrt(χ²_ν / ν),  Z ~ N(0, R);  p_i = P( max_j |T_j| ≥ |values_i| / u_i )

    values: differences, (k,); covariance: their joint covariance, (k, k); dof: ν of its scale, ∞ where it is known.
    With comparisons to one baseline this is Dunnett's test, exact for any correlation R.

    Raises ValueError where shapes do not fit or a variance is not above zero.
    Source: C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096; T. Hothorn, F. Bretz, P. Westfall, Biometrical
    Journal 50 (2008) 346 (from memory); the probability by Sobol points.
    """
    difference, matrix = np.asarray(values, float), np.asarray(covariance, float)
    if matrix.shape != (difference.size, difference.size):
        raise ValueError("covariance: one row and column a difference")
    variance = np.diag(matrix)
    if not np.all(variance > 0.0):
        raise ValueError("covariance: every variance must be above zero")
    if not dof > 0.0:
        raise ValueError("dof: must be above zero")
    u = np.sqrt(variance)
    largest = _largest(matrix / np.outer(u, u), dof)
    factor = _factor(largest, level, difference.size, dof)
    p = np.array([np.mean(largest >= t) for t in np.abs(difference) / u])
    alone = 2.0 * _upper(np.abs(difference) / u, dof)
    return Simultaneous(factor, difference - factor * u, difference + factor * u, np.clip(p, alone, 1.0))


def holm(p: Sequence[float]) -> FloatArray:
    """p-values adjusted for their number, whatever their dependence, (k,).

    p̃_(i) = max_{j ≤ i} min( 1, (k − j + 1) p_(j) )  over the p in rising order

    Raises ValueError for a p outside 0 to 1.
    Source: S. Holm, Scandinavian Journal of Statistics 6 (1979) 65.
    """
    found = np.asarray(p, float)
    if np.any(~(found >= 0.0) | (found > 1.0)):
        raise ValueError("p: must lie between 0 and 1")
    order = np.argsort(found, kind="stable")
    rising = np.maximum.accumulate(np.minimum(1.0, (found.size - np.arange(found.size)) * found[order]))
    adjusted = np.empty_like(found)
    adjusted[order] = rising
    return adjusted


def _largest(correlation: FloatArray, dof: float) -> FloatArray:
    """max_i |T_i| at each of the points, (n,)."""
    k = len(correlation)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))  # a difference may be the sum of others
    points = qmc.Sobol(k + 1, rng=np.random.default_rng(_SEED)).random(POINTS)
    points = np.clip(points, 1e-12, 1.0 - 1e-12)
    largest = np.max(np.abs(norm.ppf(points[:, :k]) @ root.T), axis=1)
    if np.isfinite(dof):
        largest = largest / np.sqrt(chi2.ppf(points[:, k], dof) / dof)
    return np.asarray(largest)


def _factor(largest: FloatArray, level: float, k: int, dof: float) -> float:
    """The level's quantile, no less than for one difference and no more than Šidák's for independent ones."""
    least = float(-_lower_quantile(0.5 * (1.0 - level), dof))
    most = float(-_lower_quantile(0.5 * (1.0 - level ** (1.0 / k)), dof))
    return float(np.clip(np.quantile(largest, level), least, max(least, most)))


def _lower_quantile(p: float, dof: float) -> float:
    return float(student.ppf(p, dof) if np.isfinite(dof) else norm.ppf(p))


def _upper(t: FloatArray, dof: float) -> FloatArray:
    return np.asarray(student.sf(t, dof) if np.isfinite(dof) else norm.sf(t))
