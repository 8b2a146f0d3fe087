"""Differences over days with a random effect of the day: outside values, limits by hand, coverage over made seasons."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats

from server.inference.day_effects import DayTold, Effects, day_effects, own_and_shared
from server.inference.effects_told import apart_p, sd_of, spread_p, together, told
from server.inference.simultaneous import simultaneous
from tests.published import table

PLUS = np.array([-1.0, 1.0])


def alone(value: float, u: float, place: int = 0) -> DayTold:
    return DayTold((place,), np.array([value]), np.array([[u**2]]), np.zeros((1, 1)))


def both(values: tuple[float, ...], u: float, together_u: float = 0.0, shared: tuple[float, ...] = ()) -> DayTold:
    k = len(values)
    loads = np.array(shared or (0.0,) * k)[:, None]
    covariance = u**2 * np.eye(k) + together_u**2 * np.ones((k, k)) + loads @ loads.T
    return DayTold(tuple(range(k)), np.array(values), covariance, loads)


def likeliest(effects: Effects) -> tuple[float, float, float]:
    """τ² where the restricted likelihood is largest (the places have equal prior weight), the mean there and its u."""
    at = int(np.argmax(effects.shares))
    tau2 = effects.between_sd[at] ** 2 + effects.own_sd[at] ** 2
    return float(tau2), float(effects.means[at, 0]), math.sqrt(float(effects.covariances[at, 0, 0]))


def test_restricted_likelihood_of_thirteen_trials() -> None:
    """REML as R's metafor prints it for these trials: τ² 0.3132, mean −0.7145, u 0.1798 (from memory).

    Of single values τ_b and τ_d cannot be told apart: their sum of squares is compared, as near as the grid comes.
    """
    trials = table("tuberculosis_trials", "trials")
    a, b, c, d = (trials[name].astype(float) for name in ("cases", "others", "control_cases", "control_others"))
    values = np.log(a / (a + b)) - np.log(c / (c + d))
    own = np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))
    tau2, mean, u = likeliest(day_effects([alone(y, s) for y, s in zip(values, own, strict=True)], 1))
    assert tau2 == pytest.approx(0.3132, rel=0.05)
    assert mean == pytest.approx(-0.7145, abs=0.001)
    assert u == pytest.approx(0.1798, abs=0.003)


def test_restricted_likelihood_of_six_trials_of_aspirin() -> None:
    """DerSimonian & Kacker, Contemporary Clinical Trials 28 (2007) 105, pp. 111 f.: REML mean −0.2980, u 0.1343."""
    a, n = np.array([5, 5, 12, 69, 9, 313.0]), np.array([156, 303, 565, 1570, 103, 4659.0])
    c, m = np.array([8, 17, 9, 94, 11, 352.0]), np.array([74, 303, 477, 1565, 105, 4650.0])
    values = np.log(a / (n - a)) - np.log(c / (m - c))
    own = np.sqrt(1 / a + 1 / (n - a) + 1 / c + 1 / (m - c))
    _, mean, u = likeliest(day_effects([alone(y, s) for y, s in zip(values, own, strict=True)], 1))
    assert mean == pytest.approx(-0.2980, abs=0.002)
    assert u == pytest.approx(0.1343, abs=0.002)


def test_whole_days_that_ran_both_give_the_mean_of_their_differences() -> None:
    days = [both((1.40, 1.50), 0.01), both((1.45, 1.57), 0.01), both((1.30, 1.38), 0.01)]
    found = told(day_effects(days, 2), PLUS)
    assert found.value == pytest.approx((0.10 + 0.12 + 0.08) / 3, abs=1e-6)
    assert found.u95 > 1.96 * 0.01 * math.sqrt(2.0 / 3.0)
    assert found.shared_u == 0.0


def test_what_the_day_does_to_all_alike_cancels_within_a_day() -> None:
    near = told(day_effects([both((1.40 + b, 1.50 + b), 0.01) for b in (0.0, 0.001, 0.002, -0.001)], 2), PLUS)
    far = told(day_effects([both((1.40 + b, 1.50 + b), 0.01) for b in (0.0, 0.3, 0.6, -0.3)], 2), PLUS)
    assert near.value == pytest.approx(far.value, abs=1e-6)
    # days that lie near each other as a whole also say that a setup hardly differs from day to day
    assert near.u95 <= far.u95 < 1.2 * near.u95


def test_days_that_ran_one_of_two_tell_as_far_as_days_are_alike() -> None:
    pairs = [both((1.40, 1.50), 0.02), both((1.41, 1.51), 0.02), both((1.40, 1.51), 0.02)]
    more = [alone(1.40, 0.02), alone(1.41, 0.02), alone(1.50, 0.02, 1), alone(1.51, 0.02, 1)]
    unlike = [alone(1.40 + b, 0.02, place) for b, place in ((0.9, 0), (-0.9, 0), (1.0, 1), (-0.8, 1))]
    within = told(day_effects(pairs, 2), PLUS)
    assert told(day_effects(pairs + more, 2), PLUS).u95 < 0.9 * within.u95
    wild = told(day_effects(pairs + unlike, 2), PLUS)
    assert wild.value == pytest.approx(within.value, abs=0.01)
    assert wild.u95 > 0.9 * within.u95


def test_errors_that_all_days_share_stay_in_values_and_cancel_in_differences_as_far_as_they_are_alike() -> None:
    days = [both((1.40, 1.50), 0.005, shared=(0.014, 0.015)) for _ in range(40)]
    effects = day_effects(days, 2)
    area, change = told(effects, np.array([1.0, 0.0])), told(effects, PLUS)
    assert area.shared_u == pytest.approx(0.014, rel=1e-6)
    assert area.u95 > 1.96 * 0.014
    assert change.shared_u == pytest.approx(0.10 * 0.01, rel=1e-6)  # |Δ| u_k / SCx


def test_a_common_relative_error_draws_no_mean_below_what_it_is_a_mean_of() -> None:
    """R. W. Peelle's puzzle: 1.5 and 1.0, each ± 10 % of its own and 20 % in common, gave 0.88 (from memory)."""
    days = [both((value,), 0.1 * value, shared=(0.2 * value,)) for value in (1.5, 1.0)]
    assert 1.0 < told(day_effects(days, 1), np.array([1.0])).value < 1.5


def test_own_and_shared_make_the_whole_and_a_share_that_is_too_large_is_cut() -> None:
    whole = np.array([[4.0, 1.0], [1.0, 2.0]])
    own, cut = own_and_shared(whole, np.array([[0.5], [0.4]]))
    assert cut == pytest.approx(np.array([[0.5], [0.4]]))
    assert own + cut @ cut.T == pytest.approx(whole)
    own, cut = own_and_shared(whole, np.array([[3.0], [0.1]]))
    assert own + cut @ cut.T == pytest.approx(whole)
    assert np.linalg.eigvalsh(own).min() > -1e-12
    with pytest.raises(ValueError, match="covariance"):
        own_and_shared(np.zeros((2, 2)), np.zeros((2, 1)))


def test_a_quantity_without_a_day_is_refused() -> None:
    with pytest.raises(ValueError, match="days"):
        day_effects([alone(1.0, 0.1)], 2)


def test_one_point_of_known_scatter_is_judged_as_dunnett_does() -> None:
    covariance = 0.01**2 * (np.eye(4) + np.ones((4, 4)))[None]
    means, none = np.array([[1.0, 1.02, 1.03, 1.05]]), np.zeros(1)
    effects = Effects(np.ones(1), means, covariance, np.zeros((1, 4, 1)), none, none)
    weights = np.column_stack([-np.ones(3), np.eye(3)])
    single = [told(effects, row) for row in weights]
    assert single[0].u95 == pytest.approx(1.959964 * 0.01 * math.sqrt(2.0), rel=1e-6)
    assert single[0].p == pytest.approx(2.0 * scipy.stats.norm.sf(math.sqrt(2.0)), rel=1e-6)
    assert single[0].smallest_seen == pytest.approx((1.959964 + 0.8416212) * 0.01 * math.sqrt(2.0), rel=1e-6)
    known = simultaneous([0.02, 0.03, 0.05], weights @ covariance[0] @ weights.T)
    judged = together(effects, weights, single)
    assert 1.959964 * judged.factor == pytest.approx(known.factor, rel=0.01)
    assert judged.p == pytest.approx(known.p, abs=0.006)


def test_the_spread_of_differences_is_cochrans_q() -> None:
    changes, u = np.array([0.10, 0.16, 0.07]), np.array([0.01, 0.02, 0.015])
    days = [both((1.4 + k, 1.4 + k + float(c)), float(s)) for k, (c, s) in enumerate(zip(changes, u, strict=True))]
    weights = 1.0 / (2.0 * u**2)
    mean = float(weights @ changes / weights.sum())
    expected = scipy.stats.chi2.sf(float(weights @ (changes - mean) ** 2), 2)
    assert spread_p(days, 2) == pytest.approx(expected, rel=1e-9)
    assert spread_p(days[:1], 2) is None
    assert spread_p([alone(1.0, 0.1), alone(1.1, 0.1, 1)], 2) is None


def test_a_day_that_lies_apart_is_found_by_the_others() -> None:
    others = day_effects([both((1.40, 1.50 + e), 0.01) for e in (0.0, 0.003, -0.002, 0.001, 0.002, -0.004)], 2)
    assert apart_p(others, PLUS, 0.10, 2e-4) > 0.5
    assert apart_p(others, PLUS, 0.25, 2e-4) < 0.01
    middle, low, high = sd_of(others.own_sd, others.shares)
    assert 0.0 < low < middle < high


def made_season(rng: np.random.Generator, days: int, between: float, own_sd: float, missing: float) -> list[DayTold]:
    """A at 0, B at 0: own errors of unequal size that the day's setups have half in common, one shared by all days."""
    common, found = rng.standard_normal(), []
    while len(found) < days:
        ran = [place for place in (0, 1) if rng.random() >= missing]
        if not ran:
            continue
        k, u = len(ran), rng.uniform(0.5, 2.0)
        own = u**2 * (0.5 * np.ones((k, k)) + np.diag(rng.uniform(0.7, 1.5, k)))
        loads = np.array([[(1.0, 1.1)[place]] for place in ran])
        errors = np.linalg.cholesky(own) @ rng.standard_normal(k) + own_sd * rng.standard_normal(k)
        values = between * rng.standard_normal() + errors + loads[:, 0] * common
        found.append(DayTold(tuple(ran), values, own + loads @ loads.T, loads))
    return found if {place for day in found for place in day.places} == {0, 1} else made_season(
        rng, days, between, own_sd, missing
    )  # fmt: skip


@pytest.mark.parametrize(
    ("days", "between", "own_sd", "missing"), [(2, 1.0, 1.0, 0.0), (3, 4.0, 1.0, 0.35), (8, 1.0, 0.5, 0.35)]
)
def test_intervals_of_differences_hold_over_made_seasons(
    days: int, between: float, own_sd: float, missing: float
) -> None:
    """95 % less 3 u of 80 seasons; days are unequal, some ran only one of the two."""
    rng, seasons = np.random.default_rng([2_690_001, days]), 80
    held = sum(
        abs((one := told(day_effects(made_season(rng, days, between, own_sd, missing), 2), PLUS)).value) <= one.u95
        for _ in range(seasons)
    )
    assert held / seasons > 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / seasons)
