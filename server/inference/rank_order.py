"""Do two ways of judging put the same things in the same order?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

EXACT_SPEARMAN = 8  # up to here all orders are gone through
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class RankOrder:
    """Kendall's τ-b and Spearman's ρ with two-sided p of chance alone, exact where exact says so.

    pairs: of all that differ in both; kept, turned: those that the measurement orders beyond doubt, and the prediction
    puts the same or the other way round; untold: those that the measurement does not order.
    """

    tau: float
    tau_p: float
    rho: float
    rho_p: float
    exact: bool
    kept: int
    turned: int
    untold: int


def rank_order(first: ArrayLike, second: ArrayLike, first_covariance: ArrayLike | None = None) -> RankOrder:
    """Rank correlation of n things, and which pairs the first tells apart.

    first: what was measured, (n,), n ≥ 2; second: what was predicted; first_covariance: (n, n), none: exact values.
    A pair is ordered where |y_i − y_j| > 1.96 √(V_ii + V_jj − 2 V_ij).
    Raises ValueError for other shapes.
    Source: M. G. Kendall, Biometrika 30 (1938) 81; exact p by Kendall's recursion over orders without ties.
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    n = a.size
    if a.ndim != 1 or n < 2 or b.shape != a.shape:
        raise ValueError("first, second: at least two, and as many of each")
    v = np.zeros((n, n)) if first_covariance is None else np.asarray(first_covariance, float)
    tau, tau_p, tied = _kendall(a, b)
    rho, rho_p = _spearman(a, b)
    i, j = np.triu_indices(n, 1)
    apart = a[i] - a[j]
    ordered = np.abs(apart) > NORMAL_95 * np.sqrt(np.maximum(v[i, i] + v[j, j] - 2.0 * v[i, j], 0.0))
    same = np.sign(apart) * np.sign(b[i] - b[j])
    kept, turned = int(np.sum(ordered & (same > 0))), int(np.sum(ordered & (same < 0)))
    exact = not tied and n <= EXACT_SPEARMAN
    return RankOrder(tau, tau_p, rho, rho_p, exact, kept, turned, int(i.size - np.sum(ordered)))


@lru_cache(maxsize=64)
def kendall_orders(n: int) -> tuple[int, ...]:
    """How many of the n! orders have 0, 1, 2 … pairs the wrong way round."""
    counts = [1]
    for size in range(2, n + 1):
        wider = [0] * (len(counts) + size - 1)
        for wrong, count in enumerate(counts):
            for more in range(size):
                wider[wrong + more] += count
        counts = wider
    return tuple(counts)


def _kendall(a: FloatArray, b: FloatArray) -> tuple[float, float, bool]:
    n = a.size
    i, j = np.triu_indices(n, 1)
    da, db = np.sign(a[i] - a[j]), np.sign(b[i] - b[j])
    score = float(np.sum(da * db))
    scale = math.sqrt(float(np.sum(da != 0)) * float(np.sum(db != 0)))
    tied = bool(np.any(da == 0) or np.any(db == 0))
    if scale == 0.0:
        return math.nan, math.nan, tied
    if tied or n > 60:
        from scipy.stats import kendalltau

        found = kendalltau(a, b)
        return float(found.statistic), float(found.pvalue), tied
    counts = kendall_orders(n)
    wrong = round((i.size - score) / 2.0)
    tail = sum(counts[: min(wrong, len(counts) - 1 - wrong) + 1]) / math.factorial(n)
    return score / scale, min(1.0, 2.0 * tail), tied


def _spearman(a: FloatArray, b: FloatArray) -> tuple[float, float]:
    from scipy.stats import rankdata, spearmanr

    if np.ptp(a) == 0.0 or np.ptp(b) == 0.0:
        return math.nan, math.nan
    ranks = [np.asarray(rankdata(each), float) for each in (a, b)]
    x, y = (each - np.mean(each) for each in ranks)
    rho = float(x @ y / math.sqrt(float(x @ x) * float(y @ y)))
    if a.size > EXACT_SPEARMAN:
        return rho, float(spearmanr(a, b).pvalue)
    orders = np.array(list(permutations(y.tolist())))
    reach = abs(float(x @ y)) - 1e-9
    return rho, float(np.mean(np.abs(orders @ x) >= reach))
