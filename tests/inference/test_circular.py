"""Mean directions against a published example, scipy, and simulated directions."""

import math

import numpy as np
import pytest
from scipy.stats import circmean, circstd

from server.inference.circular import circular_mean, concentration, difference, kappa_interval, wrapped

ROULETTE_DEG = [43, 45, 52, 61, 75, 88, 88, 279, 357]


def test_roulette_wheel() -> None:
    """K. V. Mardia 1972, example 2.1: mean 51°, R̄ = 0.711 (from memory)."""
    found = circular_mean(np.radians(ROULETTE_DEG))
    assert math.degrees(found.mean_rad) == pytest.approx(51.0, abs=0.5)
    assert found.resultant == pytest.approx(0.711, abs=0.0005)


def test_mean_and_spread_are_those_of_scipy() -> None:
    angles = np.random.default_rng(2_650_301).vonmises(3.0, 2.0, 50)
    found = circular_mean(angles)
    assert found.mean_rad == pytest.approx(circmean(angles, high=math.pi, low=-math.pi))
    assert found.spread_rad == pytest.approx(circstd(angles))


@pytest.mark.parametrize("n", [5, 8, 30])
@pytest.mark.parametrize("kappa", [1.5, 4.0, 40.0])
def test_the_interval_of_the_mean_holds(n: int, kappa: float) -> None:
    """95 % wanted; of 600 trials 93 % and more with a probability of 0.98. A mean that is not told counts as held."""
    rng = np.random.default_rng(2_650_400 + n)
    hits = 0
    for _ in range(600):
        found = circular_mean(rng.vonmises(2.9, kappa, n))
        hits += found.half95_rad is None or abs(difference(found.mean_rad, 2.9)) <= found.half95_rad
    assert hits / 600 >= 0.93


def test_concentration_is_found_again() -> None:
    """A(2) = 0.6978 and A(10) = 0.9486: tables of the von Mises distribution (from memory)."""
    assert concentration(0.69777, 100) == pytest.approx(2.0, abs=0.001)
    assert concentration(0.94860, 100) == pytest.approx(10.0, abs=0.01)
    assert concentration(0.94860, 5) < 6.0
    low, high = kappa_interval(0.94860, 20)
    assert low < 10.0 < high


def test_edges() -> None:
    same = circular_mean([1.0] * 6)
    assert (same.half95_rad, same.spread_rad) == (pytest.approx(0.0, abs=1e-6), pytest.approx(0.0, abs=1e-6))
    assert circular_mean([0.1, 0.2]).half95_rad is None
    assert circular_mean(np.linspace(0, 2 * math.pi, 9)[:-1]).half95_rad is None
    assert wrapped([-math.pi, 3 * math.pi / 2]).tolist() == [math.pi, pytest.approx(-math.pi / 2)]
    with pytest.raises(ValueError, match="angles_rad"):
        circular_mean([])
