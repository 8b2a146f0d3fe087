"""Cuts a speed record into smooth pieces: the fewest parabolas in time that describe it within its noise.

Optimal partitioning by dynamic programming (Jackson et al., IEEE Signal Process. Lett. 12, 2005, 105–108):

    F(j) = min over i of F(i) + SSE(i, j)/σ² + β

with SSE(i, j) what a least-squares parabola leaves of the samples i … j−1, and β the price of a piece.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from server.testday.values import FloatArray

IntArray = NDArray[np.int64]
PIECE_PRICE = 30.0  # four numbers a piece, each ln(n) ≈ 7.5 as by the Bayesian information criterion
LONGEST_PIECE = 150


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces of a record, in order, shape (n,) each.

    first, last: index of first and last sample; start_s, end_s: their times.
    start_mps, end_mps, start_mps2, end_mps2: fitted speed and acceleration there.
    mean_mps2: acceleration averaged over the piece; mean_u_mps2: its standard error from white noise;
    left_mps: root mean square of what the fit leaves.
    """

    first: IntArray
    last: IntArray
    start_s: FloatArray
    end_s: FloatArray
    start_mps: FloatArray
    end_mps: FloatArray
    start_mps2: FloatArray
    end_mps2: FloatArray
    mean_mps2: FloatArray
    mean_u_mps2: FloatArray
    left_mps: FloatArray


def split_smooth(
    time_s: FloatArray,
    speed_mps: FloatArray,
    sigma_mps: float,
    price: float = PIECE_PRICE,
    longest: int = LONGEST_PIECE,
) -> IntArray:
    """Indices where the pieces begin, and n at the end; shape (pieces + 1,).

    time_s, speed_mps: shape (n,), time increasing [s], [m/s]; sigma_mps: noise of a sample [m/s];
    price: β [-]; longest: most samples of a piece.
    """
    n = len(time_s)
    if len(speed_mps) != n:
        raise ValueError(f"speed_mps has {len(speed_mps)} values, time_s {n}")
    if not sigma_mps > 0.0:
        raise ValueError(f"sigma_mps must be above 0, got {sigma_mps}")
    if n == 0:
        return np.zeros(1, dtype=np.int64)
    cost = _piece_costs(time_s, speed_mps, min(longest, n)) / sigma_mps**2 + price
    came_from = _cheapest(cost)
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(int(came_from[cuts[-1]]))
    return np.array(cuts[::-1], dtype=np.int64)


def _piece_costs(time_s: FloatArray, speed_mps: FloatArray, longest: int) -> FloatArray:
    """SSE of the parabola over samples i … i+length−1 at [length − 1, i]; infinite past the end.

    Sums of powers of the time since sample i grow by one sample a step, so nothing cancels.
    """
    n = len(time_s)
    cost = np.full((longest, n), np.inf)
    s = np.zeros((5, n))
    b = np.zeros((3, n))
    yy = np.zeros(n)
    for extra in range(longest):
        m = n - extra
        tau = time_s[extra:] - time_s[:m]
        y = speed_mps[extra:] - speed_mps[:m]
        power = np.ones(m)
        for k in range(5):
            s[k, :m] += power
            if k < 3:
                b[k, :m] += power * y
            power = power * tau
        yy[:m] += y * y
        cost[extra, :m] = _left_over(s[:, :m], b[:, :m], yy[:m]) if extra >= 3 else 0.0
    return cost


def _left_over(s: FloatArray, b: FloatArray, yy: FloatArray) -> FloatArray:
    """yy less what the parabola explains, by Gram–Schmidt on 1, τ, τ² with moments s and products b."""
    m1 = s[1] / s[0]
    m2 = s[2] / s[0]
    tiny = np.finfo(np.float64).tiny  # samples that share one time spread nothing, and explain nothing
    q11 = np.maximum(s[2] - s[1] * m1, tiny)
    q12 = s[3] - s[1] * m2
    q22 = s[4] - s[2] * m2
    c1 = b[1] - b[0] * m1
    c2 = b[2] - b[0] * m2
    r = q12 / q11
    left = yy - b[0] ** 2 / s[0] - c1**2 / q11 - (c2 - r * c1) ** 2 / np.maximum(q22 - r * q12, tiny)
    return np.asarray(np.maximum(left, 0.0))


def _cheapest(cost: FloatArray) -> IntArray:
    """Where the last piece of the cheapest cutting of the first j samples begins, shape (n + 1,)."""
    longest, n = cost.shape
    by_end = np.full((n + 1, longest), np.inf)
    for extra in range(longest):
        by_end[extra + 1 :, longest - 1 - extra] = cost[extra, : n - extra]
    best = np.zeros(n + longest + 1)
    best[:longest] = np.inf
    best[longest] = 0.0
    came_from = np.zeros(n + 1, dtype=np.int64)
    for j in range(1, n + 1):
        total = best[j : j + longest] + by_end[j]
        k = int(np.argmin(total))
        best[j + longest] = total[k]
        came_from[j] = j + k - longest
    return came_from


def describe_pieces(time_s: FloatArray, speed_mps: FloatArray, cuts: IntArray, sigma_mps: float) -> Pieces:
    """Fit every piece by itself: a parabola, a line below five samples, a level for a single one."""
    rows = [_describe(time_s[i:j], speed_mps[i:j], sigma_mps) for i, j in pairwise(cuts)]
    table = np.array(rows, dtype=np.float64).reshape(-1, 7).T
    first, last = cuts[:-1], cuts[1:] - 1
    return Pieces(first, last, time_s[first], time_s[last], *table)


def _describe(time_s: FloatArray, speed_mps: FloatArray, sigma_mps: float) -> tuple[float, ...]:
    span = float(time_s[-1] - time_s[0])
    if len(time_s) == 1 or span <= 0.0:
        level = float(np.mean(speed_mps))
        return level, level, 0.0, 0.0, 0.0, float("inf"), float(np.std(speed_mps))
    x = 2.0 * (time_s - time_s[0]) / span - 1.0
    degree = 2 if len(time_s) >= 5 else 1
    c = np.zeros(3)
    design = np.polynomial.legendre.legvander(x, degree)
    fitted, covariance = _least_squares(design, speed_mps)
    c[: degree + 1] = fitted
    slope = 2.0 / span
    return (
        float(c[0] - c[1] + c[2]),
        float(c[0] + c[1] + c[2]),
        float((c[1] - 3.0 * c[2]) * slope),
        float((c[1] + 3.0 * c[2]) * slope),
        float(c[1] * slope),
        float(sigma_mps * np.sqrt(covariance[1, 1]) * slope),
        float(np.sqrt(np.mean((speed_mps - design @ fitted) ** 2))),
    )


def _least_squares(design: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    covariance = np.linalg.inv(design.T @ design)
    return np.asarray(covariance @ (design.T @ values)), np.asarray(covariance)
