"""How much a planned comparison would see: power, and the smallest number of pairs that reaches it."""

from __future__ import annotations

import numpy as np
from scipy.stats import nct
from scipy.stats import t as student

MOST = 10_000
_NO_OTHER_TAIL = 8.0  # δ beyond which the far tail is below 1e-15, and not a number in scipy


def paired_power(effect: float, pairs: int, alpha: float = 0.05) -> float:
    """Chance that a two-sided paired t test sees a true difference.

    1 − β = P( |T'| > t_{1−α/2, n−1} ),  T' noncentral t with n − 1 degrees of freedom and δ = d √n

    effect: d, true difference over the standard deviation of a pair's difference; pairs: n ≥ 2

    Raises ValueError for n < 2 or α outside 0 to 1.
    Source: J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 2nd ed. (1988), ch. 2 (from memory).
    """
    if pairs < 2:
        raise ValueError("pairs: two are the least")
    if not 0.0 < alpha < 1.0:
        raise ValueError("alpha: must lie between 0 and 1")
    dof, shift = pairs - 1, abs(effect) * np.sqrt(pairs)
    limit = student.ppf(1.0 - 0.5 * alpha, dof)
    other_tail = float(nct.cdf(-limit, dof, shift)) if shift < _NO_OTHER_TAIL else 0.0
    return float(nct.sf(limit, dof, shift)) + other_tail


def pairs_for_power(effect: float, power: float = 0.8, alpha: float = 0.05) -> int | None:
    """The smallest number of pairs whose `paired_power` reaches `power`; None where MOST do not.

    Raises ValueError for a power outside 0 to 1, or an effect of zero.
    """
    if not 0.0 < power < 1.0:
        raise ValueError("power: must lie between 0 and 1")
    if effect == 0.0:
        raise ValueError("effect: no number of pairs sees a difference of zero")
    low, high = 1, 2
    while paired_power(effect, high, alpha) < power:
        low, high = high, 2 * high
        if high > MOST:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if paired_power(effect, middle, alpha) >= power else (middle, high)
    return high


def pairs_for_u95(pair_sd: float, wanted_u95: float, shared_u: float = 0.0) -> int | None:
    """The smallest number of pairs whose mean has the wanted half-width; None where no number or MOST do not.

    U95(n)² = (t_{0.975, n−1})² s²/n + (1.96 u_s)²

    pair_sd: s, standard deviation of one pair's difference; shared_u: u_s, what all pairs have in common

    Raises ValueError for a wanted half-width that is not above zero.
    """
    if not wanted_u95 > 0.0:
        raise ValueError("wanted_u95: must be above zero")
    rest = wanted_u95**2 - (1.959964 * shared_u) ** 2
    if rest <= 0.0:
        return None
    counts = np.arange(2, MOST + 1)
    enough = student.ppf(0.975, counts - 1) ** 2 * pair_sd**2 / counts <= rest
    return int(counts[np.argmax(enough)]) if enough.any() else None
