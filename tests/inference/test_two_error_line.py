"""The line through points with errors in both coordinates: the literature's example, limits, coverage."""

from __future__ import annotations

import numpy as np
import pytest

from server.inference.two_error_line import scattered_line, york_line
from tests.published import table


def pearson() -> list[np.ndarray]:
    points = table("pearson_york", "points")
    return [points["x"], points["y"], points["weight_x"] ** -0.5, points["weight_y"] ** -0.5]


def test_pearsons_data_with_yorks_weights() -> None:
    line = york_line(*pearson())
    assert line.slope == pytest.approx(-0.48053340745, abs=5e-12)
    assert line.intercept == pytest.approx(5.47991022403, abs=5e-12)
    assert line.slope_u == pytest.approx(0.057985, abs=5e-7)
    assert line.intercept_u == pytest.approx(0.294971, abs=5e-7)
    assert line.statistic / 8 == pytest.approx(1.4833, abs=5e-5)


def test_with_equal_weights_of_y_alone_it_is_least_squares() -> None:
    """scipy's linregress of the same points: x nearly exact."""
    from scipy.stats import linregress

    x, y, _, _ = pearson()
    line, plain = york_line(x, y, np.full(10, 1e-6), np.full(10, 0.3)), linregress(x, y)
    assert (line.slope, line.intercept) == pytest.approx((plain.slope, plain.intercept), rel=1e-9)


def test_swapped_coordinates_give_the_inverse_line() -> None:
    x, y, ux, uy = pearson()
    line, swapped = york_line(x, y, ux, uy, correlation=0.3), york_line(y, x, uy, ux, correlation=0.3)
    assert swapped.slope == pytest.approx(1.0 / line.slope, rel=1e-9)
    assert swapped.intercept == pytest.approx(-line.intercept / line.slope, rel=1e-9)


def test_without_scatter_and_shared_errors_it_is_yorks() -> None:
    """Wider errors, so that the misfit is below n − 2 and nothing has to be explained by scatter."""
    x, y, ux, uy = pearson()
    line = scattered_line(x, y, np.diag(4 * ux**2), np.diag(4 * uy**2))
    assert line.scatter == 0.0
    assert line.slope == pytest.approx(york_line(x, y, ux, uy).slope, rel=1e-6)
    assert line.statistic == pytest.approx(york_line(x, y, ux, uy).statistic / 4, rel=1e-9)


def test_setups_that_are_alike_claim_no_slope() -> None:
    rng = np.random.default_rng(2_640_010)
    x = 1.4 + 0.01 * rng.standard_normal(6)
    line = scattered_line(x, x + 0.05 * rng.standard_normal(6), 0.0009 * np.eye(6), 0.0004 * np.eye(6))
    assert line.low95 is None
    assert line.high95 is None


@pytest.mark.parametrize(("n", "seed"), [(5, 2_640_011), (12, 2_640_012)])
def test_the_slopes_interval_holds_the_truth(n: int, seed: int) -> None:
    """Points that scatter by three times their own errors, a third of the errors shared by all."""
    rng, held, told = np.random.default_rng(seed), 0, 0
    for _ in range(120):
        truth = rng.normal(0.0, 1.0, n)
        x = truth + 0.1 * rng.standard_normal(n) + 0.1 * rng.standard_normal()
        y = 0.2 + 1.1 * truth + 0.05 * rng.standard_normal(n) + 0.15 * rng.standard_normal(n)
        line = scattered_line(x, y, 0.01 * np.eye(n) + 0.01, 0.0025 * np.eye(n))
        if line.low95 is not None and line.high95 is not None:
            told += 1
            held += line.low95 <= 1.1 <= line.high95
    assert told > 100
    assert held / told > 0.95 - 3.0 * (0.95 * 0.05 / told) ** 0.5


def test_refusals() -> None:
    x, y, ux, uy = pearson()
    with pytest.raises(ValueError, match="positive"):
        york_line(x, y, 0 * ux, uy)
    with pytest.raises(ValueError, match="all are one"):
        york_line(0 * x, y, ux, uy)
    with pytest.raises(ValueError, match="four points"):
        scattered_line(x[:3], y[:3], np.eye(3), np.eye(3))
