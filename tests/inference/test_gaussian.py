"""Linear Gaussian conditioning against the textbook formulae and scipy's multivariate normal."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from server.inference.gaussian import condition


@pytest.fixture
def problem() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(4)
    root = rng.normal(size=(3, 3))
    return {
        "E": rng.normal(size=(20, 3)),
        "e0": rng.normal(size=20),
        "mu": rng.normal(size=3),
        "V": root @ root.T,
    }


def solve(problem: dict[str, np.ndarray]):
    E, e0 = problem["E"], problem["e0"]
    return condition(E.T @ E, E.T @ e0, float(e0 @ e0), 0.0, problem["mu"], np.linalg.inv(problem["V"]))


def test_posterior_is_the_kalman_update(problem: dict[str, np.ndarray]) -> None:
    E, e0, mu, V = (problem[k] for k in ("E", "e0", "mu", "V"))
    gain = V @ E.T @ np.linalg.inv(E @ V @ E.T + np.eye(20))
    answer = solve(problem)
    np.testing.assert_allclose(answer.mean, mu + gain @ (-e0 - E @ mu), rtol=1e-9)
    np.testing.assert_allclose(answer.covariance(), V - gain @ E @ V, rtol=1e-7, atol=1e-9)


def test_evidence_is_the_marginal_density(problem: dict[str, np.ndarray]) -> None:
    """e_0 = −Eθ + noise, so e_0 ~ N(−Eμ, E V Eᵀ + I)."""
    E, e0, mu, V = (problem[k] for k in ("E", "e0", "mu", "V"))
    expected = multivariate_normal(-E @ mu, E @ V @ E.T + np.eye(20)).logpdf(e0)
    assert solve(problem).log_evidence - 10.0 * np.log(2.0 * np.pi) == pytest.approx(expected, rel=1e-9)


def test_draws_have_the_covariance(problem: dict[str, np.ndarray]) -> None:
    answer = solve(problem)
    draws = answer.draw(np.random.default_rng(0).standard_normal((200_000, 3)))
    np.testing.assert_allclose(np.cov(draws.T), answer.covariance(), rtol=0.05, atol=3e-4)
    np.testing.assert_allclose(draws.mean(axis=0), answer.mean, atol=3e-3)
