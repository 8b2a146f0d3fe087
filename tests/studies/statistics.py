"""How honest a set of intervals is: coverage with binomial bounds, error in u, interval score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from tests.studies.records import Claim

NOMINAL = 0.95


@dataclass(frozen=True, slots=True)
class Tally:
    """n asked, missing without an estimate, and what the rest tells (None: nothing).

    Coverage with its 99 % Clopper–Pearson bounds, RMS and mean of error/u, mean interval score [unit], RMS
    relative error, median relative u (none where truths lie on both sides of zero); error_over_bound: RMS
    relative error over the RMS of relative u, the error that the same posteriors expect of themselves.
    """

    n: int
    missing: int
    covered: int = 0
    coverage: float | None = None
    coverage_low99: float | None = None
    coverage_high99: float | None = None
    rms_z: float | None = None
    mean_z: float | None = None
    interval_score: float | None = None
    rms_relative: float | None = None
    median_relative_u: float | None = None
    error_over_bound: float | None = None

    @property
    def answered(self) -> int:
        return self.n - self.missing


def clopper_pearson(covered: int, n: int, confidence: float = 0.99) -> tuple[float, float]:
    """Exact binomial bounds of a share (Clopper & Pearson, Biometrika 26, 1934, 404–413)."""
    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if covered == 0 else float(stats.beta.ppf(tail, covered, n - covered + 1))
    high = 1.0 if covered == n else float(stats.beta.ppf(1.0 - tail, covered + 1, n - covered))
    return low, high


def allowed_range(n: int, tail: float = 0.01) -> tuple[int, int]:
    """How many of n honest 95 % intervals hold the truth, but for `tail` of the cases on either side."""
    law = stats.binom(n, NOMINAL)
    return int(law.ppf(tail)), int(law.ppf(1.0 - tail))


def allowed_rms_z(n: int, tail: float = 0.01) -> tuple[float, float]:
    """RMS of error/u of n honest Gaussian claims, but for `tail` of the cases either side (χ², n dof)."""
    law = stats.chi2(n)
    return float(np.sqrt(law.ppf(tail) / n)), float(np.sqrt(law.ppf(1.0 - tail) / n))


def interval_score(low: float, high: float, truth: float, nominal: float = NOMINAL) -> float:
    """Width plus 2/α times how far the truth lies outside (Gneiting & Raftery, JASA 102, 2007, eq. 43)."""
    alpha = 1.0 - nominal
    return (high - low) + 2.0 / alpha * (max(low - truth, 0.0) + max(truth - high, 0.0))


def relative_rms(values: Sequence[float | None], truths: Sequence[float]) -> tuple[float | None, int]:
    """RMS of (value − truth)/truth over what could be had, and how many could not."""
    pairs = [(v, t) for v, t in zip(values, truths, strict=True) if v is not None and np.isfinite(v)]
    missing = len(values) - len(pairs)
    if not pairs:
        return None, missing
    value, truth = np.array(pairs).T
    return float(np.sqrt(np.mean((value / truth - 1.0) ** 2))), missing


def tally(claims: Sequence[Claim]) -> Tally:
    """Count a set of claims; one that is not a finite number with a positive u counts as missing."""
    made = [c for c in claims if usable(c)]
    missing = len(claims) - len(made)
    if not made:
        return Tally(len(claims), missing)
    rows = np.array([(c.truth, c.value, c.u, c.low95, c.high95) for c in made], dtype=float)
    truth, value, u, low, high = rows.T
    covered = int(np.sum((low <= truth) & (truth <= high)))
    z = (value - truth) / u
    bounds = clopper_pearson(covered, len(made))
    one_sign = bool(np.all(truth > 0.0) or np.all(truth < 0.0))
    off, spread = (value / truth - 1.0, u / np.abs(truth)) if one_sign else (z, np.ones_like(z))
    scores = [interval_score(a, b, t) for a, b, t in zip(low, high, truth, strict=True)]
    return Tally(
        n=len(claims),
        missing=missing,
        covered=covered,
        coverage=covered / len(made),
        coverage_low99=bounds[0],
        coverage_high99=bounds[1],
        rms_z=float(np.sqrt(np.mean(z**2))),
        mean_z=float(np.mean(z)),
        interval_score=float(np.mean(scores)),
        rms_relative=float(np.sqrt(np.mean((value / truth - 1.0) ** 2))) if one_sign else None,
        median_relative_u=float(np.median(u / np.abs(truth))) if one_sign else None,
        error_over_bound=float(np.sqrt(np.mean(off**2) / np.mean(spread**2))) if one_sign else None,
    )


def usable(claim: Claim) -> bool:
    """Whether it is a finite number with a positive u."""
    numbers = (claim.value, claim.u, claim.low95, claim.high95)
    return all(x is not None and np.isfinite(x) for x in numbers) and bool(claim.u and claim.u > 0.0)
