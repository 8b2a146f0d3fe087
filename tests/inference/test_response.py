"""Response curves and their optimum, against statsmodels, a textbook's yield example and simulation."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from server.inference.response import Response, fit_response, optimum

# A chemical yield over scaled time and temperature, a central composite design: D. C. Montgomery, Design and Analysis
# of Experiments, ch. 11, the example with its stationary point at (0.389, 0.306) and 80.21 (numbers from memory).
YIELD_X = np.array(
    [
        *([-1, -1], [-1, 1], [1, -1], [1, 1], *[[0, 0]] * 5),
        *([1.414, 0], [-1.414, 0], [0, 1.414], [0, -1.414]),
    ],
    dtype=float,
)
YIELD_Y = np.array([76.5, 77.0, 78.0, 79.5, 79.9, 80.3, 80.0, 79.7, 79.8, 78.4, 75.6, 78.5, 77.0])


def test_the_textbooks_stationary_point() -> None:
    found = fit_response(YIELD_X, YIELD_Y, 0.07 * np.eye(13))
    best = optimum(found, "largest")
    assert best.setting is not None
    assert best.setting == pytest.approx([0.389, 0.306], abs=0.0025)
    assert found.value(best.setting[None])[0][0] == pytest.approx(80.21, abs=0.005)
    assert best.bounded
    assert np.all((best.low < best.setting) & (best.setting < best.high))


def test_generalised_least_squares_against_statsmodels() -> None:
    rng = np.random.default_rng(5)
    x, root = rng.uniform(20, 40, (8, 1)), rng.normal(size=(8, 8))
    y, v = rng.normal(size=8), root @ root.T + np.eye(8)
    found = fit_response(x, y, v)
    scaled = (x - found.centre) / found.scale
    theirs = sm.GLS(y, np.column_stack([np.ones(8), scaled, scaled**2]), sigma=v).fit()
    assert found.coefficients == pytest.approx(theirs.params)
    assert found.covariance == pytest.approx(theirs.normalized_cov_params)
    assert found.dof == 5
    assert found.statistic == pytest.approx(theirs.ssr)


def test_fiellers_interval_of_one_setting() -> None:
    # the roots of (b1 + 2 b2 x)² = 1.96² var(b1 + 2 b2 x), E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175
    x = np.linspace(-1, 1, 9)[:, None]
    y = 2.0 - (x[:, 0] - 0.2) ** 2
    found = fit_response(x, y, 0.01**2 * np.eye(9))
    (_, b1, b2), c, z2 = found.coefficients, found.covariance, stats.norm.ppf(0.975) ** 2
    roots = np.roots([4 * (b2**2 - z2 * c[2, 2]), 4 * (b1 * b2 - z2 * c[1, 2]), b1**2 - z2 * c[1, 1]])
    best = optimum(found, "largest")
    assert best.setting == pytest.approx([0.2])
    assert [best.low[0], best.high[0]] == pytest.approx(sorted(roots), abs=0.01)


@pytest.mark.parametrize("factors", [1, 2])
def test_the_optimum_lies_in_its_region_as_often_as_said(factors: int) -> None:
    rng = np.random.default_rng(40 + factors)
    x = rng.uniform(-1, 1, (12, factors))
    x[: 2**factors] = np.array(np.meshgrid(*[[-1, 1]] * factors)).reshape(factors, -1).T
    truth = np.array([0.2, -0.1][:factors])
    clean, held, days = -np.sum((x - truth) ** 2, axis=1), 0, 300
    for _ in range(days):
        found = fit_response(x, clean + rng.normal(0, 0.15, 12), 0.15**2 * np.eye(12))
        g = _slope_at(found, truth)
        held += g <= stats.chi2.ppf(0.95, factors)
        best = optimum(found, "largest")
        if g <= 0.98 * stats.chi2.ppf(0.95, factors):  # beyond the grid's step
            assert np.all((best.low <= truth + 0.01) & (truth - 0.01 <= best.high))
    low, high = stats.binom.ppf([0.005, 0.995], days, 0.95)
    assert low <= held <= high


def _slope_at(found: Response, setting: np.ndarray) -> float:
    step, base = 1e-5, found.value(setting[None])[0][0]
    rows = []
    for i in range(setting.size):
        moved = setting.copy()
        moved[i] += step * found.scale[i]
        row = []
        for k in range(found.coefficients.size):
            unit = Response(np.eye(found.coefficients.size)[k], *(getattr(found, n) for n in (
                "covariance", "centre", "scale", "statistic", "dof")))  # fmt: skip
            row.append((unit.value(moved[None])[0][0] - unit.value(setting[None])[0][0]) / step)
        rows.append(row)
    slopes = np.array(rows)
    assert np.isfinite(base)
    g = slopes @ found.coefficients
    return float(g @ np.linalg.solve(slopes @ found.covariance @ slopes.T, g))


def test_a_flat_curve_has_no_bounded_optimum() -> None:
    x = np.linspace(0, 10, 6)[:, None]
    best = optimum(fit_response(x, np.array([1.0, 1.01, 0.99, 1.0, 1.02, 1.0]), 0.1**2 * np.eye(6)), "largest")
    assert not best.bounded


def test_a_best_at_the_edge_is_no_optimum() -> None:
    x = np.linspace(0, 10, 6)[:, None]
    best = optimum(fit_response(x, 2.0 * x[:, 0] - 0.05 * x[:, 0] ** 2, 1e-4 * np.eye(6)), "largest")
    assert best.setting is None
    assert not best.bounded


def test_refusals_name_the_argument() -> None:
    one = np.ones((3, 1))
    for settings, values, covariance, name in (
        (one, np.ones(3), np.eye(3), "never varied"),
        (np.array([[0.0], [1.0], [1.0]]), np.ones(3), np.eye(3), "more distinct"),
        (np.array([[0.0], [1.0], [2.0]]), np.ones(3), np.zeros((3, 3)), "singular"),
        (np.zeros((3, 3)), np.ones(3), np.eye(3), "one or two"),
        (np.zeros((3, 1)), np.ones(4), np.eye(3), "shapes"),
    ):
        with pytest.raises(ValueError, match=name):
            fit_response(settings, values, covariance)
