"""Days combined into one value: published examples, limits that a person can check, and coverage over made days."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats

from server.inference.between_days import (
    BORROWED_WIDER,
    Between,
    between_variance,
    over_days,
    own_part,
    pooled_between,
    spread,
    u95_with_another_day,
)
from tests.published import table

NORMAL = scipy.stats.norm.ppf(0.975)


def test_zener_standard_over_ten_days_of_the_gum() -> None:
    """Example H.5: s of the daily means 57 µV, pooled 85 µV of five readings, between days 43 µV, u 18 µV, ν = 9."""
    days = table("gum", "h5_days")
    means = days["mean_offset_uv"].astype(float)
    within = math.sqrt(float(np.mean(days["standard_deviation_uv"].astype(float) ** 2)))
    assert within == pytest.approx(85.0, abs=0.5)
    assert np.std(means, ddof=1) == pytest.approx(57.0, abs=0.5)
    found = over_days(means, np.full(10, within / math.sqrt(5)), np.zeros(10))
    assert found.value == pytest.approx(97.0, abs=0.5)
    assert found.between_sd == pytest.approx(43.0, abs=0.5)
    assert found.u == pytest.approx(18.0, abs=0.5)
    assert found.u95 == pytest.approx(scipy.stats.t.ppf(0.975, 9) * found.u, rel=1e-12)


def test_thirteen_trials_with_unequal_errors() -> None:
    """Source: tests/published/tuberculosis_trials/CITATION (from memory)."""
    trials = table("tuberculosis_trials", "trials")
    a, b, c, d = (trials[name].astype(float) for name in ("cases", "others", "control_cases", "control_others"))
    values = np.log(a / (a + b)) - np.log(c / (c + d))
    own = np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
    weights = own**-2
    assert spread(values, own, 0.0) == pytest.approx(152.23, abs=0.005)
    assert weights @ values / weights.sum() == pytest.approx(-0.4303, abs=0.00005)
    moments = (spread(values, own, 0.0) - 12) / (weights.sum() - (weights**2).sum() / weights.sum())
    assert moments == pytest.approx(0.3088, abs=0.00005)
    assert between_variance(values, own) == pytest.approx(0.3181, abs=0.00005)
    assert over_days(values, own, np.zeros(13)).value == pytest.approx(-0.7150, abs=0.00005)


def test_nine_laboratories_of_a_comparison() -> None:
    """Kacker, Metrologia 41 (2004) 132, table 1, first row, as the tests of statsmodels quote it: τ of Paule & Mandel
    0.8399; the mean and its u without Hartung & Knapp follow from it."""
    values = np.array([61.00, 61.40, 62.21, 62.30, 62.34, 62.60, 62.70, 62.84, 65.90])
    own = np.sqrt([0.2025, 1.2100, 0.0900, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225])
    assert math.sqrt(between_variance(values, own)) == pytest.approx(0.8399, abs=0.00005)
    weights = 1.0 / (0.8399**2 + own**2)
    found = over_days(values, own, np.zeros(9))
    assert found.value == pytest.approx(float(weights @ values / weights.sum()), abs=1e-5)
    assert found.own_u == pytest.approx(1.0 / math.sqrt(weights.sum()), rel=1e-4)  # q is 1 at that τ
    assert found.between_sd == pytest.approx(0.8399, abs=0.00005)


def test_days_that_agree_get_no_variance_between_them_and_no_less_than_their_own_error() -> None:
    found = over_days([1.40, 1.41, 1.40], [0.02, 0.02, 0.02], [0.0, 0.0, 0.0])
    assert found.between_sd == 0.0
    assert found.u == pytest.approx(0.02 / math.sqrt(3))
    assert found.spread_p > 0.5


def test_days_that_lie_apart_are_as_wide_as_they_lie() -> None:
    values = [1.30, 1.40, 1.50]
    found = over_days(values, [0.01, 0.01, 0.01], [0.0, 0.0, 0.0])
    assert found.u == pytest.approx(np.std(values, ddof=1) / math.sqrt(3), rel=1e-9)
    assert found.between_sd == pytest.approx(math.sqrt(0.1**2 - 0.01**2), rel=1e-9)
    assert found.spread_p < 1e-6


def test_no_number_of_days_shrinks_what_they_share() -> None:
    many = over_days(np.full(400, 1.4), np.full(400, 0.02), np.full(400, 0.015))
    assert many.shared_u == pytest.approx(0.015)
    assert 0.015 < many.u < 0.0155
    assert many.u95 > NORMAL * 0.015


def test_two_days_hardly_tell_how_days_scatter_and_a_third_is_worth_it() -> None:
    two = over_days([1.39, 1.41], [0.02, 0.02], [0.01, 0.01])
    assert two.u95 > 12.0 * two.own_u
    assert u95_with_another_day(two) < 0.4 * two.u95


def test_a_day_whose_whole_error_may_be_shared_is_no_ground_for_a_smaller_one() -> None:
    assert own_part(0.02, 0.02) == own_part(0.02, 0.03) == 0.0
    found = over_days([1.4, 1.4], [0.0, 0.0], [0.02, 0.02])
    assert found.u >= 0.02
    assert found.u95 >= NORMAL * 0.02


@pytest.mark.parametrize(
    "given", [([1.0], [0.1], [0.1]), ([1.0, 2.0], [0.1], [0.1, 0.1]), ([1.0, 2.0], [-0.1, 0.1], [0.1, 0.1])]
)
def test_what_cannot_be_combined_is_refused(given: tuple[list[float], list[float], list[float]]) -> None:
    with pytest.raises(ValueError, match="own_u"):
        over_days(*given)


@pytest.mark.parametrize("days", [2, 3, 5, 10])
@pytest.mark.parametrize("between", [0.0, 1.0, 4.0])
@pytest.mark.parametrize("shared", [0.0, 1.0, 4.0])
def test_intervals_hold_with_errors_that_the_days_share(days: int, between: float, shared: float) -> None:
    """95 % less 3 u of 2000 made seasons; every day has its own size of error, the shared one has one sign."""
    rng = np.random.default_rng(20260509 + days)
    seasons, held = 2000, 0
    for _ in range(seasons):
        own = rng.uniform(0.5, 2.0, days)
        sizes = shared * rng.uniform(0.8, 1.2, days)
        values = rng.normal(0.0, between, days) + rng.normal(0.0, own) + rng.normal() * sizes
        found = over_days(values, own, sizes)
        held += abs(found.value) <= found.u95
    assert held / seasons > 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / seasons)


def test_leaving_the_shared_error_out_would_be_caught() -> None:
    """The check above can fail: the same seasons without the shared part hold far less often."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        values = rng.normal(0.0, 1.0, 10) + rng.normal() * 4.0
        found = over_days(values, np.ones(10), np.zeros(10))
        held += abs(found.value) <= found.u95
    assert held / 400 < 0.5


def test_one_group_pooled_is_that_group_alone() -> None:
    values, own = np.array([1.30, 1.40, 1.50]), np.array([0.01, 0.02, 0.01])
    found = pooled_between([(values, own)], 3)
    assert found is not None
    assert found.variance == pytest.approx(between_variance(values, own), rel=1e-9)
    assert found.dof == 2
    assert pooled_between([], 0) is None
    assert pooled_between([(values, own), (values, own)], 3).dof == 2  # type: ignore[union-attr]


def test_few_days_borrow_how_days_differ_and_days_that_lie_apart_do_not() -> None:
    others = Between(0.01**2, 6)
    near = over_days([1.40, 1.41], [0.01, 0.01], [0.0, 0.0], others)
    assert near.borrowed
    assert near.dof == 6
    assert near.u == pytest.approx(math.sqrt((0.01**2 + (BORROWED_WIDER * 0.01) ** 2) / 2))
    apart = over_days([1.40, 1.60], [0.01, 0.01], [0.0, 0.0], others)
    assert not apart.borrowed
    assert apart.u95 == over_days([1.40, 1.60], [0.01, 0.01], [0.0, 0.0]).u95
    assert not over_days([1.40, 1.41, 1.40], [0.01] * 3, [0.0] * 3, Between(0.0, 2)).borrowed


@pytest.mark.parametrize("common", [False, True])
@pytest.mark.parametrize("between", [0.0, 1.0, 4.0])
@pytest.mark.parametrize("times", [1.0, 2.0])
def test_borrowed_intervals_hold_even_where_these_days_differ_twice_as_much(
    common: bool, between: float, times: float
) -> None:
    """A setup of two days beside one of five; common: the days move both alike. 95 % less 3 u of 1000, and 1 % more."""
    rng = np.random.default_rng(20260620)
    seasons, held = 1000, 0
    for _ in range(seasons):
        days = rng.normal(0.0, between, 5)
        own, few_own = rng.uniform(0.5, 2.0, 5), rng.uniform(0.5, 2.0, 2)
        many = days + rng.normal(0.0, own)
        few = times * (days[:2] if common else rng.normal(0.0, between, 2)) + rng.normal(0.0, few_own)
        found = over_days(few, few_own, np.zeros(2), pooled_between([(many, own), (few, few_own)], 5))
        held += abs(found.value) <= found.u95
    assert held / seasons > 0.94 - 3.0 * math.sqrt(0.95 * 0.05 / seasons)
