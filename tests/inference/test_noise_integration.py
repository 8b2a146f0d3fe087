"""Mode, curvature and weighted points against densities whose moments are known."""

import numpy as np
import pytest

from server.inference.noise_integration import find_mode, weighted_points

COVARIANCE = np.array([[0.30, 0.10], [0.10, 0.20]])
CENTRE = np.array([0.4, -0.7])


def gaussian(x: np.ndarray) -> float:
    return -0.5 * float((x - CENTRE) @ np.linalg.solve(COVARIANCE, x - CENTRE))


def test_mode_and_curvature_of_a_gaussian() -> None:
    mode = find_mode(gaussian, np.zeros(2), np.ones(2), np.array([True, True]))
    np.testing.assert_allclose(mode.point, CENTRE, atol=0.02)
    np.testing.assert_allclose(mode.covariance, COVARIANCE, rtol=1e-3)


def test_curvature_along_one_direction_holds_the_other() -> None:
    mode = find_mode(gaussian, np.zeros(2), np.ones(2), np.array([True, False]))
    assert mode.covariance[0, 0] == pytest.approx(1.0 / np.linalg.inv(COVARIANCE)[0, 0], rel=1e-3)


def test_points_give_the_moments_of_a_gaussian() -> None:
    mode = find_mode(gaussian, np.zeros(2), np.ones(2), np.array([True, True]))
    found = weighted_points(gaussian, mode, 512, seed=3)
    mean = found.weights @ found.points
    off = found.points - mean
    np.testing.assert_allclose(mean, CENTRE, atol=0.03)
    np.testing.assert_allclose((off * found.weights[:, None]).T @ off, COVARIANCE, rtol=0.08)
    assert found.effective > 250


def test_points_give_the_mean_of_a_skewed_density() -> None:
    """exp(x) with x log-gamma: density of log of a gamma(4) variable, mean ψ(4) = 1.2561 (Abramowitz & Stegun,
    table 6.1: ψ(4) = 1 + 1/2 + 1/3 − 0.57722)."""

    def density(x: np.ndarray) -> float:
        return 4.0 * float(x[0]) - float(np.exp(x[0]))

    mode = find_mode(density, np.array([1.0]), np.ones(1), np.array([True]))
    found = weighted_points(density, mode, 512, seed=1)
    assert float(found.weights @ found.points[:, 0]) == pytest.approx(1.0 + 0.5 + 1.0 / 3.0 - 0.577216, abs=0.01)


def test_a_flat_direction_keeps_the_priors_width() -> None:
    mode = find_mode(lambda x: -0.5 * float(x[0] ** 2), np.zeros(2), np.array([1.0, 0.5]), np.array([True, True]))
    assert mode.covariance[1, 1] == pytest.approx(0.5**2 * 2.0, rel=1e-6)
