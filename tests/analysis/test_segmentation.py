"""Cutting into parabolas: against exhaustive search, on shapes whose cuts are known, and its arguments."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from server.analysis.segmentation import describe_pieces, split_smooth


def left_over(t: np.ndarray, v: np.ndarray) -> float:
    if len(t) <= 3:
        return 0.0
    return float(np.sum((v - np.polyval(np.polyfit(t, v, 2), t)) ** 2))


def cheapest_by_trying_all(t: np.ndarray, v: np.ndarray, sigma: float, price: float) -> tuple[float, list[int]]:
    n = len(t)
    best: tuple[float, list[int]] = (np.inf, [])
    for k in range(n):
        for inner in combinations(range(1, n), k):
            cuts = [0, *inner, n]
            total = sum(left_over(t[i:j], v[i:j]) / sigma**2 + price for i, j in pairwise(cuts))
            if total < best[0] - 1e-9:
                best = (total, cuts)
        if k > 3:
            break
    return best


@pytest.mark.parametrize("seed", range(6))
def test_no_cutting_is_cheaper(seed: int) -> None:
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.5, 1.5, 11))
    v = np.concatenate([2.0 * t[:5], 20.0 - 3.0 * t[5:]]) + rng.normal(0.0, 0.3, 11)
    cost, _ = cheapest_by_trying_all(t, v, 0.3, 8.0)
    cuts = split_smooth(t, v, 0.3, price=8.0)
    ours = sum(left_over(t[i:j], v[i:j]) / 0.3**2 + 8.0 for i, j in pairwise(cuts))
    assert ours == pytest.approx(cost, rel=1e-6)


def test_one_parabola_stays_whole_and_a_kink_is_cut_at_its_place() -> None:
    t = np.arange(0.0, 30.0, 0.2)
    rng = np.random.default_rng(1)
    smooth = 25.0 - 1.4 * t + 0.02 * t**2 + rng.normal(0.0, 0.1, len(t))
    np.testing.assert_array_equal(split_smooth(t, smooth, 0.1), [0, len(t)])
    bent = np.where(t < 12.0, 3.0 + 1.8 * t, 24.6 - 1.2 * (t - 12.0)) + rng.normal(0.0, 0.1, len(t))
    cuts = split_smooth(t, bent, 0.1)
    assert len(cuts) == 3
    assert t[cuts[1]] == pytest.approx(12.0, abs=0.4)


def test_pieces_carry_speed_and_acceleration_of_their_ends() -> None:
    t = np.arange(0.0, 10.01, 0.1)
    v = 20.0 - 1.0 * t + 0.03 * t**2
    pieces = describe_pieces(t, v, np.array([0, len(t)]), 0.05)
    assert pieces.start_mps[0] == pytest.approx(20.0)
    assert pieces.end_mps[0] == pytest.approx(13.0)
    assert pieces.start_mps2[0] == pytest.approx(-1.0)
    assert pieces.end_mps2[0] == pytest.approx(-0.4)
    assert pieces.mean_mps2[0] == pytest.approx(-0.7)
    assert pieces.left_mps[0] == pytest.approx(0.0, abs=1e-9)


def test_the_slope_error_is_that_of_least_squares() -> None:
    t = np.arange(0.0, 6.0, 0.5)
    u = describe_pieces(t, np.zeros(len(t)), np.array([0, len(t)]), 0.2).mean_u_mps2[0]
    seen = [np.polyfit(t, np.random.default_rng(k).normal(0.0, 0.2, len(t)), 1)[0] for k in range(3000)]
    assert u == pytest.approx(np.std(seen), rel=0.05)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="sigma_mps"):
        split_smooth(np.arange(5.0), np.arange(5.0), 0.0)
    with pytest.raises(ValueError, match="speed_mps"):
        split_smooth(np.arange(5.0), np.arange(4.0), 0.1)
    np.testing.assert_array_equal(split_smooth(np.zeros(0), np.zeros(0), 0.1), [0])
