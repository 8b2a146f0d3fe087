"""Between which limits nineteen of twenty differences of two ways to measure lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Limits:
    """Mean difference, standard deviation of the differences, and the limits mean ± 1.96 sd.

    Each limit with its own 95 % interval; limit_u: √(3 sd²/n), its usual standard error.
    """

    mean: float
    sd: float
    mean_u: float
    mean_low95: float
    mean_high95: float
    lower: float
    lower_low95: float
    lower_high95: float
    upper: float
    upper_low95: float
    upper_high95: float
    limit_u: float
    n: int


def limits_of_agreement(differences: ArrayLike) -> Limits:
    """Limits of agreement of differences d_i, one a subject.

    d̄ ± 1.96 s; the intervals of a limit are those of a normal quantile, d̄ + k s with
    k = t'(p; n − 1, δ)/√n, t' the noncentral t with δ = ± 1.96 √n: exact where the differences are normal.

    differences: (n,), n ≥ 3. Raises ValueError for fewer.
    Source: J. M. Bland, D. G. Altman, Lancet 327 (1986) 307; A. Carkeet, Optom. Vis. Sci. 92 (2015) e71 for the
    exact intervals (both from memory).
    """
    from scipy.stats import nct, t

    d = np.asarray(differences, float)
    if d.ndim != 1 or d.size < 3:
        raise ValueError("differences: at least three")
    n, mean, sd = int(d.size), float(np.mean(d)), float(np.std(d, ddof=1))
    mean_u = sd / n**0.5
    reach = float(t.ppf(0.975, n - 1)) * mean_u
    factors = [float(nct.ppf(p, n - 1, NORMAL_95 * n**0.5)) / n**0.5 for p in (0.025, 0.975)]
    return Limits(
        mean=mean, sd=sd, mean_u=mean_u, mean_low95=mean - reach, mean_high95=mean + reach,
        lower=mean - NORMAL_95 * sd, lower_low95=mean - factors[1] * sd, lower_high95=mean - factors[0] * sd,
        upper=mean + NORMAL_95 * sd, upper_low95=mean + factors[0] * sd, upper_high95=mean + factors[1] * sd,
        limit_u=(3.0 / n) ** 0.5 * sd, n=n,
    )  # fmt: skip
