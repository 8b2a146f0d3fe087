"""Do two judges put the same things into the same classes: share, Cohen's kappa, weighted kappa, with intervals."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import beta, t

FloatArray = NDArray[np.float64]
_EDGE = 0.999999


@dataclass(frozen=True, slots=True)
class Agreement:
    """Share of n things judged alike and Cohen's κ, each with 95 % bounds.

    kappa and its bounds are None where both judges used one class alone: chance then explains all agreement, and κ
    is 0/0. expected: share that chance would give. classes: in the order of the table; table[i][j]: things that the
    first judge put in class i and the second in j.
    """

    n: int
    share: float
    share_low95: float
    share_high95: float
    kappa: float | None
    kappa_low95: float | None
    kappa_high95: float | None
    expected: float
    classes: tuple[str, ...]
    table: tuple[tuple[int, ...], ...]


def cross_table(
    first: Sequence[Hashable], second: Sequence[Hashable], classes: Sequence[Hashable]
) -> NDArray[np.int64]:
    """How often the first judge said class i where the second said j.

    Raises ValueError where the two differ in length, or one said a class that is not listed.
    """
    if len(first) != len(second):
        raise ValueError("first, second: both must judge the same things")
    place = {name: k for k, name in enumerate(classes)}
    unknown = [name for name in (*first, *second) if name not in place]
    if unknown:
        raise ValueError(f"classes: {unknown[0]!r} is not among them")
    table = np.zeros((len(classes), len(classes)), np.int64)
    for one, two in zip(first, second, strict=True):
        table[place[one], place[two]] += 1
    return table


def agreement(table: ArrayLike, classes: Sequence[str], weights: ArrayLike | None = None) -> Agreement | None:
    """Share and κ = (p_o − p_e)/(1 − p_e) of a square table of counts; None for an empty one.

    p_o = Σ w_ij p_ij, p_e = Σ w_ij p_i· p_·j; w the identity, or agreement weights within [0, 1] with ones on the
    diagonal for weighted κ (`quadratic_weights`).
    Source: J. Cohen, Educ. Psychol. Meas. 20 (1960) 37; weighted: J. Cohen, Psychol. Bull. 70 (1968) 213.
    Bounds of the share: Clopper & Pearson, Biometrika 26 (1934) 404. Bounds of κ: `kappa_bounds`.
    Raises ValueError for another shape or negative counts.
    """
    counts = np.asarray(table, float)
    size = len(classes)
    w = np.eye(size) if weights is None else np.asarray(weights, float)
    if counts.shape != (size, size) or w.shape != (size, size) or np.any(counts < 0):
        raise ValueError("table, weights: square, as large as classes, no count negative")
    n = round(float(counts.sum()))
    if n == 0:
        return None
    alike = int(np.trace(counts))
    low, high = clopper_pearson(alike, n)
    kappa, expected = _kappa(counts / n, w)
    under, over = (None, None) if kappa is None else kappa_bounds(counts, w)
    rows = tuple(tuple(int(c) for c in row) for row in counts)
    return Agreement(n, alike / n, low, high, kappa, under, over, expected, tuple(classes), rows)


def quadratic_weights(size: int) -> FloatArray:
    """w_ij = 1 − (i − j)²/(k − 1)² of k ordered classes. Source: J. L. Fleiss, J. Cohen 1973 (from memory)."""
    k = np.arange(size)
    found: FloatArray = 1.0 - (k[:, None] - k[None, :]) ** 2 / max(size - 1, 1) ** 2
    return found


def clopper_pearson(hits: int, n: int) -> tuple[float, float]:
    """95 % bounds of a share; never too narrow."""
    low = 0.0 if hits == 0 else float(beta.ppf(0.025, hits, n - hits + 1))
    high = 1.0 if hits == n else float(beta.ppf(0.975, hits + 1, n - hits))
    return low, high


def _kappa(p: FloatArray, w: FloatArray) -> tuple[float | None, float]:
    observed = float((w * p).sum())
    expected = float((w * np.outer(p.sum(axis=1), p.sum(axis=0))).sum())
    return (None if expected >= 1.0 - 1e-12 else (observed - expected) / (1.0 - expected)), expected


def kappa_variance(p: FloatArray, w: FloatArray) -> float:
    """n times the large-sample variance of κ; p: shares (k, k), w: weights (k, k).

    var = [Σ p_ij (w_ij (1 − p_e) − (w̄_i· + w̄_·j)(1 − p_o))² − (p_o p_e − 2 p_e + p_o)²]/(1 − p_e)⁴
    Source: J. L. Fleiss, J. Cohen, B. S. Everitt, Psychol. Bull. 72 (1969) 323, eq. 9 (from memory).
    """
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed = float((w * p).sum())
    expected = float((w * np.outer(rows, columns)).sum())
    mean = (w @ columns)[:, None] + (w.T @ rows)[None, :]
    inner = float((p * (w * (1.0 - expected) - mean * (1.0 - observed)) ** 2).sum())
    outer = (observed * expected - 2.0 * expected + observed) ** 2
    return max(inner - outer, 0.0) / (1.0 - expected) ** 4


def kappa_bounds(counts: FloatArray, w: FloatArray) -> tuple[float, float]:
    """95 % bounds of κ that also serve few things, empty cells and κ = 1.

    Bounds are those κ₀ that the data do not refuse: |κ̂ − κ₀| ≤ t √(v(κ₀)/n), t of n − 1 degrees of freedom, where v
    is the variance of a table moved towards κ₀: its own shares with one thing more, spread over the cells as the
    margins have it, mixed with chance, full agreement or full disagreement until its κ is κ₀. Like Wilson's interval of
    a share it takes the variance at the bound instead of at the estimate, and so has a width at κ̂ = 1, too.
    tests/inference/test_agreement_kappa.py has how often it held.
    """
    n = float(counts.sum())
    kappa, _ = _kappa(counts / n, w)
    assert kappa is not None
    p, factor = _softened(counts, n), float(t.ppf(0.975, max(n - 1.0, 1.0)))

    def excess(kappa0: float) -> float:
        moved = _moved(p, w, kappa0)
        return abs(kappa - kappa0) - factor * math.sqrt(kappa_variance(moved, w) / n)

    return _edge(excess, kappa, -1.0), _edge(excess, kappa, 1.0)


def _softened(counts: FloatArray, n: float) -> FloatArray:
    """Shares with one thing more, spread by the margins, themselves with half a thing in each class."""
    size = len(counts)
    rows = (counts.sum(axis=1) + 0.5) / (n + 0.5 * size)
    columns = (counts.sum(axis=0) + 0.5) / (n + 0.5 * size)
    found: FloatArray = (counts + np.outer(rows, columns)) / (n + 1.0)
    return found


def _moved(p: FloatArray, w: FloatArray, kappa0: float) -> FloatArray:
    """The table with κ = kappa0 on the straight way from p to chance, full agreement or full disagreement."""
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    chance = np.outer(rows, columns)
    here = _kappa(p, w)[0] or 0.0
    alike = np.diag(0.5 * (rows + columns))
    apart = chance * (1.0 - w) / max(float((chance * (1.0 - w)).sum()), 1e-12)
    target = alike if kappa0 > here else (chance if here > 0.0 and kappa0 >= 0.0 else apart)
    if target is apart and here > 0.0:
        p = chance
    low, high = 0.0, 1.0
    for _ in range(22):
        middle = 0.5 * (low + high)
        value = _kappa((1.0 - middle) * p + middle * target, w)[0]
        beyond = value is None or (value > kappa0 if target is alike else value < kappa0)
        low, high = (low, middle) if beyond else (middle, high)
    found: FloatArray = (1.0 - low) * p + low * target
    return found


def _edge(excess: Callable[[float], float], kappa: float, end: float) -> float:
    """Where the excess turns positive between the estimate and the end of the scale; the end where it never does."""
    near, far = kappa, end * _EDGE
    if excess(far) <= 0.0 or abs(far - near) < 1e-9:
        return end
    for _ in range(22):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if excess(middle) <= 0.0 else (near, middle)
    return 0.5 * (near + far)
