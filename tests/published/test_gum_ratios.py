"""Sampled intervals of ratios against GUM H.2 (source: gum/CITATION): R, X and Z from V, I and φ read together.

A setup's balance and L/D are ratios of correlated areas; their intervals come from joint samples of the posterior. The
same path, from conditioning to `estimate` and `delta`, must give the guide's figures for its ratios.
"""

import numpy as np
import pytest

from server.aero.areas import downforce_to_drag, front_balance
from server.analysis.estimates import delta, estimate
from server.inference.gaussian import Posterior, condition
from server.inference.gum import mean_covariance, propagate_covariance
from tests.published import table

DRAWS = 40_000
IN_OHM = (("R", 127.732, 0.071, 5e-4), ("X", 219.847, 0.295, 1e-3), ("Z", 254.260, 0.236, 5e-4))
"""Value and u of table H.4, and the tolerance of u: the printed 0.295 is 0.2956 in every digit carried."""


def readings() -> np.ndarray:
    data = table("gum", "h2_readings")
    return np.stack([data["voltage_v"], data["current_ma"] * 1e-3, data["phase_rad"]], axis=-1)


def posterior() -> Posterior:
    """V, I, φ with the covariance of their means, from a prior that says next to nothing."""
    mean, covariance = readings().mean(axis=0), mean_covariance(readings())
    scale = np.sqrt(np.diag(covariance))
    precision = np.linalg.inv(covariance / np.outer(scale, scale))
    wide = np.eye(3) * 1e-12
    shift = precision @ (mean / scale)
    return condition(precision, -shift, float(mean / scale @ shift), 0.0, np.zeros(3), wide)


def even_normals(count: int, width: int) -> np.ndarray:
    """Standard normal numbers whose mean is 0 and whose covariance is the unit matrix, exactly."""
    z = np.random.default_rng(2).standard_normal((count, width))
    z -= z.mean(axis=0)
    return z @ np.linalg.inv(np.linalg.cholesky(z.T @ z / count)).T


def samples() -> dict[str, np.ndarray]:
    scale = np.sqrt(np.diag(mean_covariance(readings())))
    voltage, current, phase = (posterior().draw(even_normals(DRAWS, 3)) * scale).T
    ratio = voltage / current
    return {"R": ratio * np.cos(phase), "X": ratio * np.sin(phase), "Z": ratio}


@pytest.mark.parametrize(("name", "value", "u", "half_digit"), IN_OHM, ids=[row[0] for row in IN_OHM])
def test_value_u_and_interval_of_a_sampled_ratio(name: str, value: float, u: float, half_digit: float) -> None:
    found = estimate(samples()[name], "ohm", "measured")
    assert found.value == pytest.approx(value, abs=5e-4)
    assert found.u == pytest.approx(u, abs=half_digit)
    # a ratio of inputs known to parts in a thousand is normal: half the 95 % interval is 1.960 u
    assert found.u95 == pytest.approx(1.960 * u, rel=0.012)


def test_correlations_of_sampled_ratios() -> None:
    """Table H.4: r(R, X) = −0.588, r(R, Z) = −0.485, r(X, Z) = 0.993."""
    drawn = samples()
    r = np.corrcoef([drawn["R"], drawn["X"], drawn["Z"]])
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], rtol=0.0, atol=5e-4)


def test_u_of_a_difference_carries_the_correlation() -> None:
    """u²(Z − X) = u²(Z) + u²(X) − 2 r u(Z) u(X) by the guide's figures: 0.069 of 0.378 without the correlation."""
    drawn = samples()
    found = delta(drawn["Z"], drawn["X"], "ohm")
    by_guide = np.sqrt(0.2363**2 + 0.2956**2 - 2.0 * 0.9925 * 0.2363 * 0.2956)
    assert found.value == pytest.approx(254.260 - 219.847, abs=1e-3)
    assert found.u == pytest.approx(by_guide, rel=0.005)
    # what either has in common: the root of the covariance
    assert found.shared_u == pytest.approx(np.sqrt(0.9925 * 0.2363 * 0.2956), rel=0.005)


def test_independent_draws_would_mislead() -> None:
    """With the correlations of V, I and φ dropped u(R) is 0.195 Ω, 2.7 times too wide."""
    mean, u = readings().mean(axis=0), np.sqrt(np.diag(mean_covariance(readings())))
    voltage, current, phase = (mean + u * even_normals(DRAWS, 3)).T
    assert estimate(voltage / current * np.cos(phase), "ohm", "measured").u == pytest.approx(0.195, abs=1e-3)


def test_balance_and_lift_over_drag_from_joint_samples_agree_with_the_law_of_propagation() -> None:
    """Three areas with the guide's correlations of V, I and φ: sampled ratios against V_y = J V_x Jᵀ (GUM 5.2)."""
    u_in = np.sqrt(np.diag(mean_covariance(readings())))
    r = mean_covariance(readings()) / np.outer(u_in, u_in)
    areas, u = np.array([1.55, 1.85, 1.45]), np.array([0.015, 0.018, 0.02])
    covariance = r * np.outer(u, u)
    front, rear, drag = (areas + even_normals(DRAWS, 3) @ np.linalg.cholesky(covariance).T).T

    def ratios(x: np.ndarray) -> np.ndarray:
        return np.array([x[0] / (x[0] + x[1]), (x[0] + x[1]) / x[2]])

    values, spread = propagate_covariance(ratios, areas, covariance)
    sampled = np.stack([front_balance(front, rear), downforce_to_drag(front + rear, drag)])
    for drawn, value, variance in zip(sampled, values, np.diag(spread), strict=True):
        found = estimate(drawn, "1", "measured")
        assert found.value == pytest.approx(value, rel=1e-3)
        assert found.u == pytest.approx(np.sqrt(variance), rel=0.01)
    off = spread[0, 1] / np.sqrt(spread[0, 0] * spread[1, 1])
    assert np.corrcoef(sampled)[0, 1] == pytest.approx(off, abs=0.01)
    without = propagate_covariance(ratios, areas, np.diag(u**2))[1]
    assert abs(np.sqrt(without[0, 0] / spread[0, 0]) - 1.0) > 0.1
