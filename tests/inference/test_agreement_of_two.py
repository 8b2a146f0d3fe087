"""Limits of agreement, rank order and the common value: published examples, other programs, coverage."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats

from server.inference.limits_of_agreement import limits_of_agreement
from server.inference.rank_order import kendall_orders, rank_order
from server.inference.scatter_mean import common_value
from tests.published import table


def test_two_meters_of_peak_flow() -> None:
    """Bland & Altman 1986: their limits are mean ± 2 sd, ours ± 1.96 sd."""
    flow = table("bland_altman_1986", "flow")
    found = limits_of_agreement((flow["large"] - flow["mini"]).astype(float))
    assert found.mean == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.mean_low95, found.mean_high95) == pytest.approx((-22.0, 17.8), abs=0.05)
    assert (found.mean - 2 * found.sd, found.mean + 2 * found.sd) == pytest.approx((-79.7, 75.5), abs=0.15)
    assert found.limit_u == pytest.approx(16.3, abs=0.05)
    assert found.upper - found.mean == pytest.approx(1.959964 * found.sd, rel=1e-6)


@pytest.mark.parametrize(("n", "seed"), [(4, 2_640_020), (12, 2_640_021)])
def test_a_limits_interval_holds_the_true_limit(n: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(600):
        found = limits_of_agreement(0.3 + 2.0 * rng.standard_normal(n))
        held += found.upper_low95 <= 0.3 + 1.959964 * 2.0 <= found.upper_high95
    assert held / 600 == pytest.approx(0.95, abs=3.0 * (0.95 * 0.05 / 600) ** 0.5)


def test_ten_people_by_iq_and_television() -> None:
    told = table("rank_correlation", "iq")
    assert rank_order(told["iq"], told["hours"]).rho == pytest.approx(-29 / 165, rel=1e-12)


KENDALL = [(4, 6, 0.042), (5, 10, 0.0083), (6, 15, 0.0014), (8, 14, 0.054), (10, 23, 0.023)]


@pytest.mark.parametrize(("n", "score", "p"), KENDALL)
def test_kendalls_table(n: int, score: int, p: float) -> None:
    counts = kendall_orders(n)
    wrong = (n * (n - 1) // 2 - score) // 2
    assert sum(counts[: wrong + 1]) / sum(counts) == pytest.approx(p, abs=0.5 * 10.0 ** -len(str(p).split(".")[1]))


@pytest.mark.parametrize("n", [3, 5, 8, 14])
def test_rank_correlations_are_scipys(n: int) -> None:
    rng = np.random.default_rng(2_640_022 + n)
    a, b = rng.standard_normal(n), rng.standard_normal(n)
    found = rank_order(a, b)
    exact = scipy.stats.kendalltau(a, b, method="exact")
    assert (found.tau, found.tau_p) == pytest.approx((exact.statistic, exact.pvalue), rel=1e-12)
    assert found.rho == pytest.approx(scipy.stats.spearmanr(a, b).statistic, rel=1e-12)


def test_spearmans_p_goes_through_all_orders() -> None:
    """Against scipy's permutation test over every order."""
    a, b = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), np.array([2.0, 1.0, 3.0, 6.0, 4.0, 5.0])
    centred = b - b.mean()
    exact = scipy.stats.permutation_test(
        (a,), lambda x: float((x - 3.5) @ centred), permutation_type="pairings", alternative="two-sided"
    )
    assert rank_order(a, b).rho_p == pytest.approx(exact.pvalue, rel=1e-9)


def test_ties_are_tau_b() -> None:
    a, b = [1.0, 1.0, 2.0, 3.0, 4.0], [2.0, 1.0, 3.0, 3.0, 5.0]
    assert rank_order(a, b).tau == pytest.approx(scipy.stats.kendalltau(a, b).statistic, rel=1e-12)


def test_pairs_that_the_data_cannot_order_are_not_held_against_the_prediction() -> None:
    """1.00 and 1.01 ± 0.10 are not ordered; with an error that both share they are."""
    measured, predicted = [1.00, 1.01, 2.0], [1.2, 1.1, 1.0]
    apart = rank_order(measured, predicted, 0.0025 * np.eye(3))
    assert (apart.kept, apart.turned, apart.untold) == (0, 2, 1)
    shared = rank_order(measured, predicted, np.full((3, 3), 0.0025))
    assert (shared.kept, shared.turned, shared.untold) == (0, 3, 0)


def test_where_scatter_is_all_it_is_students_t() -> None:
    y = np.array([1.2, 0.7, 1.9, 1.1, 0.4])
    found = common_value(y, 1e-16 * np.eye(5))
    reach = scipy.stats.t.ppf(0.975, 4) * y.std(ddof=1) / 5**0.5
    assert found.value == pytest.approx(y.mean(), rel=1e-6)
    assert (found.low95, found.high95) == pytest.approx((y.mean() - reach, y.mean() + reach), rel=2e-3)


def test_an_error_that_all_share_widens_the_mean_and_no_number_shrinks_it() -> None:
    y = np.linspace(-0.1, 0.1, 30)
    alone, shared = (common_value(y, 0.0004 * np.eye(30) + s) for s in (0.0, 0.09))
    assert shared.u == pytest.approx((alone.u**2 + 0.09) ** 0.5, rel=1e-6)
    assert shared.scatter == pytest.approx(alone.scatter, rel=1e-6)


@pytest.mark.parametrize(("n", "scatter", "shared"), [(3, 3.0, 0.0), (5, 1.0, 1.0), (8, 3.0, 1.0), (8, 0.0, 0.0)])
def test_the_common_values_interval_holds(n: int, scatter: float, shared: float) -> None:
    """Few setups, errors of one alone or shared: never below 95 %, within what 500 draws tell."""
    rng = np.random.default_rng(2_640_030 + n + int(scatter) + int(10 * shared))
    v = np.eye(n) + shared
    held = 0
    for _ in range(500):
        y = scatter * rng.standard_normal(n) + rng.standard_normal(n) + shared * rng.standard_normal()
        found = common_value(y, v)
        held += found.low95 <= 0.0 <= found.high95
    assert held / 500 > 0.95 - 3.0 * (0.95 * 0.05 / 500) ** 0.5
