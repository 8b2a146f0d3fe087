"""Regressions against NIST's Statistical Reference Datasets (source: tests/published/nist_strd/CITATION)."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from server.inference.least_squares import (
    linear_least_squares,
    nonlinear_least_squares,
    polynomial_design,
)
from tests.published import table

EXTENDED = np.finfo(np.longdouble).eps < np.finfo(np.float64).eps
"""Whether the platform's long double is wider than a double, as the last digits of Wampler4 and 5 need."""


def design_of(name: str, data: Any) -> np.ndarray:
    if name == "longley":
        return np.column_stack([np.ones(16), *(data[f"x{column}"] for column in range(1, 7))])
    return polynomial_design(data["x"], (0, 1) if name == "norris" else (0, 1, 2))


@pytest.mark.parametrize("name", ["norris", "pontius", "longley"])
def test_linear_sets_to_nine_digits_and_more(name: str) -> None:
    certified = table("nist_strd", "linear")
    certified = certified[certified["set"] == name]
    data = table("nist_strd", name)
    fit = linear_least_squares(design_of(name, data), data["y"])
    np.testing.assert_allclose(fit.estimate, certified["value"], rtol=1e-10)
    np.testing.assert_allclose(fit.u, certified["sd"], rtol=1e-10)
    assert fit.residual_sd == pytest.approx(certified["residual_sd"][0], rel=1e-10)
    assert fit.dof == len(data) - len(certified)


@pytest.mark.parametrize(
    ("coefficients", "noise", "residual_sd", "digits"),
    [
        (np.ones(6), 0.0, 0.0, 12),
        (0.1 ** np.arange(6.0), 0.0, 0.0, 12),
        (np.ones(6), 1.0, 2360.14502379268, 10),
        (np.ones(6), 100.0, 236014.502379268, 10 if EXTENDED else 7),
        (np.ones(6), 10000.0, 23601450.2379268, 10 if EXTENDED else 6),
    ],
    ids=["wampler1", "wampler2", "wampler3", "wampler4", "wampler5"],
)
def test_wampler(coefficients: np.ndarray, noise: float, residual_sd: float, digits: int) -> None:
    """Fifth-order polynomials on 0 to 20, with residuals up to a thousand times the signal."""
    data = table("nist_strd", "wampler_delta")
    design = polynomial_design(data["x"], tuple(range(6)))
    fit = linear_least_squares(design, design @ coefficients + noise * data["delta"])
    np.testing.assert_allclose(fit.estimate, coefficients, rtol=10.0**-digits)
    assert fit.residual_sd == pytest.approx(residual_sd, rel=1e-10, abs=1e-8)
    if noise == 1.0:
        assert fit.u is not None
        assert fit.u[0] == pytest.approx(2152.32624678170, rel=1e-10)


def thurber(b: np.ndarray, x: np.ndarray) -> np.ndarray:
    return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))


MODELS: dict[str, Callable[[np.ndarray, np.ndarray], np.ndarray]] = {
    "misra1a": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
    "thurber": thurber,
    "mgh09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "mgh10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "mgh17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "rat43": lambda b, x: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    "boxbod": lambda b, x: b[0] * (1.0 - np.exp(-b[1] * x)),
}


# BoxBOD's far start is left to the test of the flat below: the first step leaps onto it.
STARTS = [
    (name, start)
    for name in MODELS
    for start in ("start1", "start2")
    if (name, start) != ("boxbod", "start1")
]


@pytest.mark.parametrize(("name", "start"), STARTS)
def test_nonlinear_sets_from_both_starts(name: str, start: str) -> None:
    """Six digits of values and of standard deviations by difference quotients alone."""
    certified = table("nist_strd", "nonlinear")
    certified = certified[certified["set"] == name]
    data = table("nist_strd", name)
    fit = nonlinear_least_squares(lambda b: MODELS[name](b, data["x"]) - data["y"], certified[start])
    assert fit.converged
    np.testing.assert_allclose(fit.estimate, certified["value"], rtol=1e-6)
    np.testing.assert_allclose(fit.u, certified["sd"], rtol=1e-6)
    assert fit.residual_sd == pytest.approx(certified["residual_sd"][0], rel=1e-9)


def test_analytic_jacobian_gains_digits() -> None:
    certified = table("nist_strd", "nonlinear")
    certified = certified[certified["set"] == "misra1a"]
    x, y = table("nist_strd", "misra1a")["x"], table("nist_strd", "misra1a")["y"]

    def jacobian(b: np.ndarray) -> np.ndarray:
        decay = np.exp(-b[1] * x)
        return np.stack([1.0 - decay, b[0] * x * decay], axis=-1)

    fit = nonlinear_least_squares(lambda b: MODELS["misra1a"](b, x) - y, certified["start1"], jacobian)
    np.testing.assert_allclose(fit.estimate, certified["value"], rtol=1e-10)
    np.testing.assert_allclose(fit.u, certified["sd"], rtol=1e-9)


def test_a_flat_end_has_no_covariance() -> None:
    """BoxBOD from NIST's far start ends where b2 no longer matters: a stop, but no known uncertainty."""
    data = table("nist_strd", "boxbod")
    fit = nonlinear_least_squares(lambda b: MODELS["boxbod"](b, data["x"]) - data["y"], [1.0, 1.0])
    assert fit.rank == 1
    assert fit.covariance is None
    assert fit.u is None


def test_rank_deficient_design_has_no_covariance() -> None:
    x = np.arange(5.0)
    fit = linear_least_squares(np.column_stack([np.ones(5), x, 2.0 * x]), 1.0 + 3.0 * x)
    assert fit.rank == 2
    assert fit.covariance is None
    np.testing.assert_allclose(fit.residuals, 0.0, atol=1e-12)


def test_exact_fit_has_no_scatter_to_judge_by() -> None:
    fit = linear_least_squares(polynomial_design([0.0, 1.0], (0, 1)), [1.0, 3.0])
    np.testing.assert_allclose(fit.estimate, [1.0, 2.0], rtol=1e-14)
    assert fit.residual_sd is None
    assert fit.covariance is None


def test_known_uncertainties_make_the_covariance_absolute() -> None:
    """The mean of n readings with known u has u/sqrt(n), whatever their scatter (GUM 4.2.3 and 5.1.2)."""
    u = np.array([0.1, 0.2, 0.1, 0.4])
    fit = linear_least_squares(np.ones((4, 1)), [1.0, 1.1, 0.9, 2.0], u)
    weights = 1.0 / u**2
    assert fit.estimate[0] == pytest.approx(np.average([1.0, 1.1, 0.9, 2.0], weights=weights), rel=1e-14)
    assert fit.u is not None
    assert fit.u[0] == pytest.approx(1.0 / np.sqrt(np.sum(weights)), rel=1e-14)


def test_known_uncertainties_in_a_nonlinear_fit() -> None:
    x = np.arange(1.0, 7.0)
    y = np.array([2.1, 3.9, 6.2, 7.8, 10.1, 11.9])
    straight = linear_least_squares(x[:, np.newaxis], y, 0.2)
    searched = nonlinear_least_squares(lambda b: (b[0] * x - y) / 0.2, [1.0], known_u=True)
    np.testing.assert_allclose(searched.estimate, straight.estimate, rtol=1e-10)
    np.testing.assert_allclose(searched.covariance, straight.covariance, rtol=1e-8)


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (([[1.0, 2.0]], [1.0]), "design"),
        (([[1.0], [2.0]], [1.0]), "design"),
        (([[1.0], [np.nan]], [1.0, 2.0]), "finite"),
        (([[1.0], [2.0]], [1.0, 2.0], 0.0), "u must"),
    ],
)
def test_wrong_arguments_are_named(arguments: tuple[Any, ...], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        linear_least_squares(*arguments)


def test_wrong_starts_are_named() -> None:
    with pytest.raises(ValueError, match="observations"):
        nonlinear_least_squares(lambda b: b[:1], [1.0, 2.0])
    with pytest.raises(ValueError, match="start"):
        nonlinear_least_squares(lambda b: np.array([np.nan, b[0]]), [1.0])
