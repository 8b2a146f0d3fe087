"""One value from several days that each measured it: days differ, and some of their errors are the same error.

Each day i tells y_i = μ + b_i + e_i + s_i, with b_i ~ N(0, τ²) what a day differs by, e_i ~ N(0, a_i²) the day's
own error, and s_i an error that all days share (the same scales, the same inertia, the same assumed rolling
resistance): its size σ_i is known, its sign is one for all. More days shrink b and e; they never shrink s.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

NORMAL_95 = 1.959963984540054
LEAST_SHARE = 1e-9  # of the largest value: a day's own u below this is taken as this
BORROWED_WIDER = 1.5  # τ of others is taken so many times as large: another setup's days may differ more
ALIKE_P = 0.2  # days that would lie so far apart by τ of others less often than this borrow nothing


@dataclass(frozen=True, slots=True)
class OverDays:
    """A value over days: u and half width u95; between_sd: τ; shared_u: the part of u that no further day shrinks.

    spread_p: the probability of days that lie so far apart, were τ zero; own_u: the part of u that further days shrink;
    dof: degrees of freedom of the t; borrowed: whether τ is that of others measured on the same days and more.
    """

    value: float
    u: float
    u95: float
    between_sd: float
    own_u: float
    shared_u: float
    spread_p: float
    days: int
    dof: int
    borrowed: bool = False


@dataclass(frozen=True, slots=True)
class Between:
    """How far days differ, from several quantities together: τ² and its degrees of freedom."""

    variance: float
    dof: int


def over_days(
    values: ArrayLike, own_u: ArrayLike, shared_u: ArrayLike, others: Between | None = None
) -> OverDays:
    """The mean of a random-effects model with a common error.

    w_i = 1/(τ² + a_i²),  y = Σ w_i y_i / Σ w_i,  u_own² = max(1, q)/Σ w_i,  q = Σ w_i (y_i − y)²/(k − 1)
    u_shared = Σ w_i σ_i / Σ w_i,  u² = u_own² + u_shared²,  U95² = (t(k − 1) u_own)² + (1.96 u_shared)²

    values: y_i, shape (k,), k ≥ 2; own_u: a_i; shared_u: σ_i, both (k,), none negative.
    others: τ² of more days than these, of like quantities; then τ is `BORROWED_WIDER` times theirs and t has their
    degrees of freedom, unless these days lie further apart than that lets expect.
    τ²: `between_variance`. Made seasons with 2 to 10 days, days alike to four times as far apart as their own errors,
    held in 94 to 100 % (tests/inference).
    Raises ValueError for other shapes, or fewer than two days.
    Source: Paule & Mandel, J. Res. NBS 87 (1982) 377; Hartung & Knapp, Stat. Med. 20 (2001) 1771, with q not below
    1 (Röver, Knapp & Friede, BMC Med. Res. Methodol. 15 (2015) 99). Their models have no shared error.
    """
    y, a, s = (np.asarray(each, dtype=np.float64) for each in (values, own_u, shared_u))
    if y.ndim != 1 or y.size < 2 or not y.shape == a.shape == s.shape:
        raise ValueError("values, own_u, shared_u: at least two days, and as many of each")
    if np.any(a < 0.0) or np.any(s < 0.0):
        raise ValueError("own_u, shared_u: none may be negative")
    a = np.maximum(a, LEAST_SHARE * max(float(np.max(np.abs(y))), 1e-30))
    borrowed = others is not None and y.size - 1 < others.dof and _alike(y, a, others)
    tau2, dof = between_variance(y, a), y.size - 1
    if others is not None and borrowed:
        tau2, dof = BORROWED_WIDER**2 * others.variance, others.dof
    weights = 1.0 / (tau2 + a**2)
    total = float(np.sum(weights))
    mean = float(weights @ y) / total
    q = float(weights @ (y - mean) ** 2) / (y.size - 1)
    own = math.sqrt((1.0 if borrowed else max(1.0, q)) / total)
    shared = float(weights @ s) / total
    factor = float(_student_975(dof))
    return OverDays(
        value=mean,
        u=math.hypot(own, shared),
        u95=math.hypot(factor * own, NORMAL_95 * shared),
        between_sd=math.sqrt(tau2),
        own_u=own,
        shared_u=shared,
        spread_p=float(_chi2_above(spread(y, a, 0.0), y.size - 1)),
        days=int(y.size),
        dof=int(dof),
        borrowed=borrowed,
    )


def _alike(values: FloatArray, own_u: FloatArray, others: Between) -> bool:
    return bool(_chi2_above(spread(values, own_u, others.variance), values.size - 1) >= ALIKE_P)


def pooled_between(groups: Sequence[tuple[ArrayLike, ArrayLike]], days: int) -> Between | None:
    """τ² common to several quantities measured on some of the same days: Σ_j Q_j(τ²) = Σ_j (k_j − 1), or 0.

    groups: (values, own u) of each, (k_j,) each, at least two days; days: how many different days there are in all.
    Degrees of freedom: Σ (k_j − 1), at most days − 1: quantities of one day may share what the day differs by.
    None without a group. As Paule & Mandel for one mean, the sums taken over several.
    """
    told = [tuple(np.asarray(each, dtype=np.float64) for each in group) for group in groups]
    dof = sum(y.size - 1 for y, _ in told)
    if dof < 1:
        return None
    told = [(y, np.maximum(a, LEAST_SHARE * max(float(np.max(np.abs(y))), 1e-30))) for y, a in told]

    def excess(tau2: float) -> float:
        return sum(spread(y, a, tau2) for y, a in told) - dof

    if excess(0.0) <= 0.0:
        return Between(0.0, min(dof, days - 1))
    most = sum(float(np.sum((y - np.mean(y)) ** 2)) for y, _ in told) / dof
    return Between(float(_root(excess, 0.0, most, xtol=1e-12 * most)), min(dof, days - 1))


def between_variance(values: FloatArray, own_u: FloatArray) -> float:
    """τ² of Paule & Mandel: Σ (y_i − y)²/(τ² + a_i²) = k − 1, or 0 where the days lie closer than that.

    values: y_i, (k,); own_u: a_i > 0, (k,). An error that the days share moves all alike and is not in it.
    Source: Paule & Mandel, J. Res. NBS 87 (1982) 377, eq. 11; as a mean between laboratories: Kacker, Metrologia
    41 (2004) 132.
    """
    wanted = float(values.size - 1)
    if spread(values, own_u, 0.0) <= wanted:
        return 0.0
    most = float(np.sum((values - np.mean(values)) ** 2)) / wanted  # then every weight is below 1/τ²
    return float(
        _root(lambda tau2: spread(values, own_u, tau2) - wanted, 0.0, most, xtol=1e-12 * most)
    )


def spread(values: FloatArray, own_u: FloatArray, between: float) -> float:
    """Cochran's Q with τ² = between: Σ w_i (y_i − y)², w_i = 1/(τ² + a_i²)."""
    weights = 1.0 / (between + own_u**2)
    mean = weights @ values / np.sum(weights)
    return float(weights @ (values - mean) ** 2)


def own_part(u: float, shared_u: float) -> float:
    """a of a day whose whole u and shared part are known: √(u² − σ²); 0 where the shared part is all of it."""
    return math.sqrt(max(u**2 - shared_u**2, 0.0))


def u95_with_another_day(now: OverDays) -> float:
    """U95 with one more day of the average own error, if it lies where the others do.

    u_own² falls by k/(k + 1), and t has one degree of freedom more; the shared part stays.
    """
    own = now.own_u * math.sqrt(now.days / (now.days + 1.0))
    factor = float(_student_975(max(now.dof, now.days)))
    return math.hypot(factor * own, NORMAL_95 * now.shared_u)


# The lists of days load this module at the start, where scipy would hold up the first page.


def _student_975(dof: float) -> float:
    from scipy.stats import t

    return float(t.ppf(0.975, dof))


def _chi2_above(value: float, dof: float) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(value, dof))


def _root(function: Callable[[float], float], low: float, high: float, xtol: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=xtol))
