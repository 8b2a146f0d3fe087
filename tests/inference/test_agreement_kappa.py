"""Cohen's kappa against published and library figures; its interval against simulated judges.

The interval's method was looked at with seeds 2,650,001 and after.
"""

import math

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa

from server.inference.agreement_kappa import agreement, cross_table, kappa_bounds, kappa_variance, quadratic_weights
from tests.published import table


def counts(name: str) -> np.ndarray:
    rows = table("agreement", name)
    return np.array([[row[c] for c in "abc"] for row in rows])


def test_cohen_1960() -> None:
    """p_o = 0.70, p_e = 0.41, κ = 0.492 (from memory)."""
    found = agreement(counts("cohen_1960"), "abc")
    assert found is not None
    assert found.kappa is not None
    assert (found.n, found.share) == (200, pytest.approx(0.70))
    assert found.expected == pytest.approx(0.41, abs=0.005)
    assert found.kappa == pytest.approx(0.492, abs=0.0005)


def test_fleiss_1981() -> None:
    """κ = 0.68, standard error 0.087 (from memory; printed cut, not rounded)."""
    cells = counts("fleiss_1981")
    found = agreement(cells, "abc")
    assert found is not None
    assert found.kappa == pytest.approx(0.68, abs=0.005)
    assert math.sqrt(kappa_variance(cells / 100, np.eye(3)) / 100) == pytest.approx(0.0875, abs=0.0005)


@pytest.mark.parametrize("weighted", [False, True])
def test_kappa_and_its_variance_are_those_of_statsmodels(weighted: bool) -> None:
    rng = np.random.default_rng(2_650_101)
    for _ in range(20):
        cells = rng.integers(0, 9, (4, 4)) + 4 * np.eye(4, dtype=int)
        weights = quadratic_weights(4) if weighted else np.eye(4)
        theirs = cohens_kappa(cells, wt="quadratic" if weighted else None)
        ours = agreement(cells, "abcd", weights)
        assert ours is not None
        assert ours.kappa == pytest.approx(theirs.kappa, rel=1e-9)
        n = cells.sum()
        ours_sd = math.sqrt(kappa_variance(cells / n, weights) / n)
        assert ours_sd == pytest.approx(theirs.std_kappa, rel=1e-6)


def held(n: int, size: int, kappa: float, trials: int, seed: int) -> float:
    """How often the interval held on tables drawn from chance mixed with full agreement, classes of unlike size."""
    rng = np.random.default_rng(seed)
    hits = told = 0
    for _ in range(trials):
        margins = np.clip(rng.dirichlet(np.full(size, 3.0)), 0.02, 1)
        margins /= margins.sum()
        p = (1 - kappa) * np.outer(margins, margins) + kappa * np.diag(margins)
        cells = rng.multinomial(n, p.ravel()).reshape(size, size).astype(float)
        if np.outer(cells.sum(axis=1), cells.sum(axis=0)).trace() < n * n:
            low, high = kappa_bounds(cells, np.eye(size))
            hits, told = hits + (low <= kappa <= high), told + 1
    return hits / told


@pytest.mark.study
@pytest.mark.parametrize(("n", "size", "kappa"), [(10, 4, 0.4), (10, 2, 0.8), (20, 4, 0.95), (60, 2, 0.0)])
def test_the_interval_holds_with_few_things_and_at_the_edge(n: int, size: int, kappa: float) -> None:
    """95 % wanted; of 60 trials 52 and more with a probability of 0.99."""
    assert held(n, size, kappa, 60, 2_650_200 + n) >= 52 / 60


def test_full_agreement_still_has_a_width() -> None:
    few, many = (agreement(np.diag([k, k]), "ab") for k in (5, 30))
    assert few is not None
    assert many is not None
    assert few.kappa == many.kappa == 1.0
    assert few.kappa_high95 == 1.0
    assert few.kappa_low95 is not None
    assert many.kappa_low95 is not None
    assert 0.2 < few.kappa_low95 < many.kappa_low95 < 0.97


def test_one_class_alone_has_no_kappa() -> None:
    found = agreement([[12, 0], [0, 0]], "ab")
    assert found is not None
    assert (found.share, found.kappa, found.kappa_low95) == (1.0, None, None)
    assert found.share_low95 == pytest.approx(0.025 ** (1 / 12))  # the closed form where all agree
    assert agreement([[0, 0], [0, 0]], "ab") is None


def test_the_table_counts_pairs() -> None:
    assert cross_table(["a", "b", "b"], ["a", "a", "b"], "ab").tolist() == [[1, 0], [1, 1]]
    with pytest.raises(ValueError, match="same things"):
        cross_table(["a"], [], "ab")
    with pytest.raises(ValueError, match="'c' is not among them"):
        cross_table(["c"], ["a"], "ab")
