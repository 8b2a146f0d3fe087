"""Differences judged together, against general-purpose libraries and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.stats import multivariate_normal
from statsmodels.stats.multitest import multipletests

from server.inference.simultaneous import holm, simultaneous

# Blood cell counts, C. W. Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096, table 1; as scipy.stats.dunnett's help has them.
CONTROL = np.array([7.40, 8.50, 7.20, 8.24, 9.84, 8.32])
DRUG_A = np.array([9.76, 8.80, 7.68, 9.36])
DRUG_B = np.array([12.80, 9.68, 12.16, 9.20, 10.55])


def against_control() -> tuple[np.ndarray, np.ndarray, int]:
    groups = (CONTROL, DRUG_A, DRUG_B)
    dof = sum(len(g) for g in groups) - len(groups)
    variance = sum(((g - g.mean()) ** 2).sum() for g in groups) / dof
    values = np.array([g.mean() - CONTROL.mean() for g in groups[1:]])
    covariance = variance * (np.diag([1.0 / len(g) for g in groups[1:]]) + 1.0 / len(CONTROL))
    return values, covariance, dof


def test_dunnetts_own_example_against_scipy() -> None:
    values, covariance, dof = against_control()
    found = simultaneous(values, covariance, dof)
    theirs = stats.dunnett(DRUG_A, DRUG_B, control=CONTROL, rng=np.random.default_rng(1))
    bounds = theirs.confidence_interval(0.95)
    assert found.p == pytest.approx(theirs.pvalue, abs=2e-3)
    assert found.low == pytest.approx(bounds.low, abs=0.02)
    assert found.high == pytest.approx(bounds.high, abs=0.02)


def test_the_factor_against_the_multivariate_normal() -> None:
    correlation = np.array([[1.0, 0.5, 0.3], [0.5, 1.0, 0.7], [0.3, 0.7, 1.0]])
    factor = simultaneous(np.zeros(3), correlation).factor
    inside = multivariate_normal(np.zeros(3), correlation).cdf(
        np.full(3, factor), lower_limit=np.full(3, -factor), rng=np.random.default_rng(1)
    )
    assert inside == pytest.approx(0.95, abs=1e-3)


def test_one_difference_is_judged_as_alone() -> None:
    found = simultaneous([2.0], np.array([[1.0]]))
    assert found.factor == pytest.approx(1.959964, abs=1e-6)
    assert found.p[0] == pytest.approx(2.0 * stats.norm.sf(2.0), rel=0.02)


@pytest.mark.parametrize("k", [2, 5, 12])
def test_independent_differences_take_sidaks_factor_and_no_more(k: int) -> None:
    # Z. Šidák, J. Am. Stat. Assoc. 62 (1967) 626: 1 − (1 − α)^(1/k) each
    sidak = stats.norm.ppf(0.5 + 0.5 * 0.95 ** (1.0 / k))
    assert sidak - 0.02 < simultaneous(np.zeros(k), np.eye(k)).factor <= sidak + 1e-9


def test_differences_that_are_one_and_the_same_cost_nothing() -> None:
    assert simultaneous(np.zeros(4), np.ones((4, 4))).factor == pytest.approx(1.959964, abs=0.02)


def test_all_intervals_hold_together_on_drawn_truths() -> None:
    rng = np.random.default_rng(77)
    held, days = 0, 400
    for _ in range(days):
        root = rng.normal(size=(4, 5))
        covariance = root @ root.T
        truth = rng.normal(size=4)
        found = simultaneous(rng.multivariate_normal(truth, covariance), covariance)
        held += bool(np.all((found.low <= truth) & (truth <= found.high)))
    low, high = stats.binom.ppf([0.005, 0.995], days, 0.95)
    assert low <= held <= high


def test_holm_against_statsmodels() -> None:
    rng = np.random.default_rng(3)
    for p in (rng.random(1), rng.random(7) ** 3, np.array([0.01, 0.04, 0.03, 0.005])):
        assert holm(p) == pytest.approx(multipletests(p, method="holm")[1])


def test_refusals_name_the_argument() -> None:
    with pytest.raises(ValueError, match="covariance"):
        simultaneous([1.0, 2.0], np.eye(3))
    with pytest.raises(ValueError, match="covariance"):
        simultaneous([1.0], np.zeros((1, 1)))
    with pytest.raises(ValueError, match="dof"):
        simultaneous([1.0], np.eye(1), dof=0.0)
    with pytest.raises(ValueError, match="p:"):
        holm([0.5, float("nan")])
