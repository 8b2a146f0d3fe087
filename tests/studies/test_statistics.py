"""The figures of a study against reference libraries and by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies.records import Claim
from tests.studies.statistics import (
    allowed_range,
    allowed_rms_z,
    clopper_pearson,
    interval_score,
    relative_rms,
    tally,
)


@pytest.mark.parametrize(("covered", "n"), [(0, 12), (12, 12), (31, 36), (950, 1000)])
def test_binomial_bounds_agree_with_statsmodels(covered: int, n: int) -> None:
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    reference = proportion.proportion_confint(covered, n, alpha=0.01, method="beta")
    assert clopper_pearson(covered, n) == pytest.approx(reference, abs=1e-12)


def test_rule_of_three() -> None:
    """None in n: the upper bound is 1 − 0.025^(1/n) exactly (closed form of Clopper & Pearson's bound)."""
    low, high = clopper_pearson(0, 30, confidence=0.95)
    assert low == 0.0
    assert high == pytest.approx(1.0 - 0.025 ** (1.0 / 30.0), rel=1e-12)


def test_allowed_range_holds_honest_intervals() -> None:
    least, most = allowed_range(1000)
    hits = np.random.default_rng(0).binomial(1000, 0.95, 20_000)
    assert np.mean(hits < least) <= 0.01
    assert np.mean(hits > most) <= 0.01
    assert np.mean(hits < least + 2) > 0.01
    low, high = allowed_rms_z(36)
    rms = np.sqrt(np.mean(np.random.default_rng(1).standard_normal((20_000, 36)) ** 2, axis=1))
    assert np.mean(rms < low) == pytest.approx(0.01, abs=0.004)
    assert np.mean(rms > high) == pytest.approx(0.01, abs=0.004)


def test_interval_score_by_hand() -> None:
    assert interval_score(1.0, 2.0, 1.5) == 1.0
    assert interval_score(1.0, 2.0, 2.1) == pytest.approx(1.0 + 40.0 * 0.1)
    assert interval_score(1.0, 2.0, 0.9) == pytest.approx(1.0 + 40.0 * 0.1)


def claim(value: float | None, u: float = 0.1, truth: float = 1.0) -> Claim:
    if value is None:
        return Claim("A", "SCx", truth)
    return Claim("A", "SCx", truth, value, u, value - 2.0 * u, value + 2.0 * u)


def test_a_tally_by_hand() -> None:
    found = tally([claim(1.1), claim(0.7), claim(None), claim(float("nan")), claim(1.0, u=0.0)])
    assert (found.n, found.missing, found.answered, found.covered) == (5, 3, 2, 1)
    assert found.coverage == 0.5
    assert found.rms_z == pytest.approx(np.sqrt((1.0 + 9.0) / 2.0))
    assert found.mean_z == pytest.approx(-1.0)
    assert found.rms_relative == pytest.approx(np.sqrt((0.1**2 + 0.3**2) / 2.0))
    assert found.interval_score == pytest.approx(0.4 + 0.5 * 40.0 * 0.1)
    assert tally([claim(None)]).coverage is None
    assert tally([claim(0.1, truth=-1.0), claim(1.1)]).rms_relative is None


def test_relative_rms_counts_what_is_missing() -> None:
    assert relative_rms([1.1, None, 0.9], [1.0, 1.0, 1.0]) == (pytest.approx(0.1), 1)
    assert relative_rms([None], [1.0]) == (None, 1)
