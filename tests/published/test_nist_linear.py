"""NIST's linear sets through every solver that a fit of a day stands on (source: nist_strd/CITATION)."""

from fractions import Fraction

import numpy as np
import pytest

from server.inference.gaussian import condition
from server.inference.least_squares import linear_least_squares, polynomial_design
from tests.published import HERE, table

EXTENDED = np.finfo(np.longdouble).eps < np.finfo(np.float64).eps
POWERS = {"norris": (0, 1), "pontius": (0, 1, 2), "filip": tuple(range(11)), "noint1": (1,), "noint2": (1,)}


def certified(name: str) -> np.ndarray:
    rows = table("nist_strd", "linear")
    return rows[rows["set"] == name]


def problem(name: str) -> tuple[np.ndarray, np.ndarray]:
    data = table("nist_strd", name)
    if name == "longley":
        return np.column_stack([np.ones(16), *(data[f"x{column}"] for column in range(1, 7))]), data["y"]
    return polynomial_design(data["x"], POWERS[name]), data["y"]


def test_filip_of_tenth_degree() -> None:
    """Columns of unit length are still 5 · 10⁹ in condition: seven digits of the values stand all the same."""
    design, y = problem("filip")
    fit = linear_least_squares(design, y)
    assert fit.rank == 11
    assert fit.condition > 1e9
    np.testing.assert_allclose(fit.estimate, certified("filip")["value"], rtol=1e-7 if EXTENDED else 1e-6)
    np.testing.assert_allclose(fit.u, certified("filip")["sd"], rtol=1e-6)
    assert fit.residual_sd == pytest.approx(certified("filip")["residual_sd"][0], rel=1e-7)


@pytest.mark.parametrize("name", ["noint1", "noint2"])
def test_lines_through_the_origin(name: str) -> None:
    design, y = problem(name)
    fit = linear_least_squares(design, y)
    np.testing.assert_allclose(fit.estimate, certified(name)["value"], rtol=1e-13)
    np.testing.assert_allclose(fit.u, certified(name)["sd"], rtol=1e-13)
    assert fit.residual_sd == pytest.approx(certified(name)["residual_sd"][0], rel=1e-13)


def test_filip_as_kept_gives_the_certified_values_in_exact_arithmetic() -> None:
    """The figures of the table are from memory: one wrong digit among them would show here."""
    lines = (HERE / "nist_strd" / "filip.csv").read_text(encoding="utf-8").split()[1:]
    rows = [[Fraction(text) for text in line.split(",")] for line in lines]
    normal = [[sum(x ** (i + j) for x, _ in rows) for j in range(11)] for i in range(11)]
    right = [sum(x**i * y for x, y in rows) for i in range(11)]
    exact = [float(value) for value in solved(normal, right)]
    np.testing.assert_allclose(exact, certified("filip")["value"], rtol=5e-15)


def solved(matrix: list[list[Fraction]], right: list[Fraction]) -> list[Fraction]:
    """Gauss-Jordan over the rationals."""
    table_ = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for i in range(len(table_)):
        pivot = [value / table_[i][i] for value in table_[i]]
        table_[i] = pivot
        for k, row in enumerate(table_):
            if k != i:
                table_[k] = [a - row[i] * b for a, b in zip(row, pivot, strict=True)]
    return [row[-1] for row in table_]


@pytest.mark.parametrize(
    ("name", "digits"), [("norris", 9), ("pontius", 9), ("longley", 6), ("noint1", 10), ("noint2", 10)]
)
def test_gaussian_conditioning_with_a_wide_prior_is_the_regression(name: str, digits: int) -> None:
    """The conditioning of a day's rows, deviations counted in units of a prior u as the fit counts them.

    Residual rows e_0 + E θ with E = −X · u and a prior ten million times wider than the data leave room for:
    the posterior is the certified estimate, its covariance the certified sd over the residual sd.
    """
    design, y = problem(name)
    values, sd = certified(name)["value"], certified(name)["sd"]
    noise = certified(name)["residual_sd"][0]
    start = np.zeros(design.shape[1])
    for _ in range(3):  # Gauss-Newton, as the fit repeats it about its last solution
        scale = 1e3 * sd
        rows, rest = -design * scale / noise, (y - design @ start) / noise
        wide = np.eye(len(sd)) * 1e-14
        posterior = condition(rows.T @ rows, rows.T @ rest, float(rest @ rest), 0.0, np.zeros(len(sd)), wide)
        start = start + scale * posterior.mean
    np.testing.assert_allclose(start, values, rtol=10.0**-digits)
    np.testing.assert_allclose(scale * np.sqrt(np.diag(posterior.covariance())), sd, rtol=10.0**-digits)
