"""Power and sample size against published numbers and statsmodels."""

from __future__ import annotations

import math

import pytest
from statsmodels.stats.power import TTestPower

from server.inference.sample_size import paired_power, pairs_for_power, pairs_for_u95


def test_paired_power_at_the_published_sample_size() -> None:
    # 34 pairs for d = 0.5, two-sided 5 %, power 80 %: widely published (from memory); 0.8077775 at 34
    assert pairs_for_power(0.5) == 34
    assert paired_power(0.5, 34) == pytest.approx(0.8077775, abs=5e-8)
    assert paired_power(0.5, 33) < 0.8


@pytest.mark.parametrize(("effect", "pairs"), [(0.2, 199), (0.8, 15), (1.0, 10)])
def test_pairs_for_other_effects(effect: float, pairs: int) -> None:
    # from the noncentral t; the normal formula would give 2 to 3 fewer
    assert pairs_for_power(effect) == pairs


@pytest.mark.parametrize("effect", [0.1, 0.6, 1.7])
@pytest.mark.parametrize("pairs", [2, 5, 40])
@pytest.mark.parametrize("alpha", [0.01, 0.1])
def test_power_against_statsmodels(effect: float, pairs: int, alpha: float) -> None:
    theirs = TTestPower().power(effect, pairs, alpha, alternative="two-sided")
    if math.isnan(theirs):  # it sums a tail that is not a number so far out
        assert paired_power(effect, pairs, alpha) > 0.999999
    else:
        assert paired_power(effect, pairs, alpha) == pytest.approx(theirs, abs=1e-9)


def test_half_width_of_a_mean_of_pairs() -> None:
    found = pairs_for_u95(0.05, 0.04)
    assert found is not None
    # t(0.975, 8) = 2.306, t(0.975, 7) = 2.365 (Student's table): 2.306·0.05/3 = 0.0384, 2.365·0.05/√8 = 0.0418
    assert found == 9
    assert pairs_for_u95(0.05, 0.04, shared_u=0.03) is None
    assert pairs_for_u95(1.0, 1e-6) is None


def test_refusals_name_the_argument() -> None:
    with pytest.raises(ValueError, match="pairs"):
        paired_power(0.5, 1)
    with pytest.raises(ValueError, match="alpha"):
        paired_power(0.5, 5, 1.0)
    with pytest.raises(ValueError, match="power"):
        pairs_for_power(0.5, 1.0)
    with pytest.raises(ValueError, match="effect"):
        pairs_for_power(0.0)
    with pytest.raises(ValueError, match="wanted_u95"):
        pairs_for_u95(1.0, 0.0)
    assert pairs_for_power(0.001) is None
