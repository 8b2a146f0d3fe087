"""The worked examples of the GUM (source: tests/published/gum/CITATION)."""

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike

from server.inference.gum import (
    Input,
    arcsine_u,
    budget,
    coverage_factor,
    mean_covariance,
    propagate_covariance,
    rectangular_u,
    second_order_variance,
    triangular_u,
    type_a,
    welch_satterthwaite,
)
from server.inference.least_squares import linear_least_squares
from tests.published import table


def assert_printed(values: ArrayLike, printed: ArrayLike, half_digit: ArrayLike) -> None:
    """Each value rounds to what is printed."""
    off = np.abs(np.asarray(values) - np.asarray(printed))
    assert np.all(off <= half_digit), f"off by {off}, half a digit is {half_digit}"


def end_gauge(x: np.ndarray) -> float:
    """l = l_s + d - l_s (δα θ + α_s δθ), lengths in nm, with θ = θ_mean + Δ (GUM eq. H.3)."""
    length, repeated, random, systematic, alpha, delta_alpha, mean, swing, delta_theta = x
    difference = repeated + random + systematic
    return float(length + difference - length * (delta_alpha * (mean + swing) + alpha * delta_theta))


def end_gauge_inputs() -> list[Input]:
    lengths = [Input(str(n), float(v), float(u), float(nu)) for n, v, u, nu in table("gum", "h1_inputs")]
    return [
        *lengths,
        Input("alpha_s", 11.5e-6, rectangular_u(2e-6)),
        Input("delta_alpha", 0.0, rectangular_u(1e-6), 50.0),
        Input("theta_mean", -0.1, 0.2),
        Input("theta_swing", 0.0, arcsine_u(0.5)),
        Input("delta_theta", 0.0, rectangular_u(0.05), 2.0),
    ]


def test_h1_end_gauge() -> None:
    """GUM H.1: l = 50 000 838 nm, u = 32 nm, ν_eff = 16, U99 = 93 nm."""
    result = budget(end_gauge, end_gauge_inputs())
    assert result.value == pytest.approx(50_000_838.0, abs=0.5)
    assert result.u == pytest.approx(32.0, abs=0.5)
    assert result.effective_dof is not None
    assert math.floor(result.effective_dof) == 16
    assert coverage_factor(16, 0.99) == pytest.approx(2.92, abs=0.005)
    # The guide multiplies k with u rounded to 32 nm; from the unrounded u the same rule gives 92.5 nm.
    assert coverage_factor(result.effective_dof, 0.99) * round(result.u) == pytest.approx(93.0, abs=0.5)
    assert result.expanded(0.99) == pytest.approx(92.5, abs=0.05)


def test_h1_contributions() -> None:
    """GUM table H.1: 25, 9.7, 2.9 and 16.6 nm; u(θ) = 0.41 °C; nothing to first order from α_s and θ."""
    inputs = end_gauge_inputs()
    parts = {line.of.name: line.contribution for line in budget(end_gauge, inputs).contributions}
    difference = math.hypot(
        parts["repeated_difference"], parts["comparator_random"], parts["comparator_systematic"]
    )
    assert parts["standard_length"] == pytest.approx(25.0, abs=0.5)
    assert difference == pytest.approx(9.7, abs=0.05)
    assert parts["delta_alpha"] == pytest.approx(2.9, abs=0.05)
    assert parts["delta_theta"] == pytest.approx(16.6, abs=0.05)
    assert math.hypot(inputs[6].u, inputs[7].u) == pytest.approx(0.41, abs=0.005)
    assert parts["alpha_s"] == parts["theta_swing"] == pytest.approx(0.0, abs=1e-5)


def test_h1_second_order_terms() -> None:
    """GUM H.1.7: l_s u(δα) u(θ) = 11.7 nm and l_s u(α_s) u(δθ) = 1.7 nm raise u to 34 nm."""
    inputs = end_gauge_inputs()
    values, u = [item.value for item in inputs], [item.u for item in inputs]
    terms = second_order_variance(end_gauge, values, u)
    both_ways = terms + terms.T
    assert math.sqrt(both_ways[5, 6] + both_ways[5, 7]) == pytest.approx(11.7, abs=0.05)
    assert math.sqrt(both_ways[4, 8]) == pytest.approx(1.7, abs=0.05)
    first = budget(end_gauge, inputs).u
    assert math.sqrt(first**2 + terms.sum()) == pytest.approx(34.0, abs=0.5)


def test_second_order_of_a_square() -> None:
    """x² about zero has the variance 2 u⁴ of a normal x, all of it second order; x³ about 1 adds 36 u⁴."""
    assert second_order_variance(lambda x: x[0] ** 2, [0.0], [0.3])[0, 0] == pytest.approx(2.0 * 0.3**4)
    cubic = second_order_variance(lambda x: x[0] ** 3, [1.0], [0.1])[0, 0]
    assert cubic == pytest.approx((0.5 * 36.0 + 3.0 * 6.0) * 0.1**4, rel=1e-2)


def impedance(x: np.ndarray) -> np.ndarray:
    voltage, current, phase = x
    ratio = voltage / current
    return np.array([ratio * np.cos(phase), ratio * np.sin(phase), ratio])


def h2_readings() -> np.ndarray:
    data = table("gum", "h2_readings")
    return np.stack([data["voltage_v"], data["current_ma"] * 1e-3, data["phase_rad"]], axis=-1)


def test_h2_correlated_inputs_and_outputs() -> None:
    """GUM H.2, approach 1: R 127.732(71), X 219.847(295), Z 254.260(236) Ω and their correlations."""
    readings = h2_readings()
    covariance = mean_covariance(readings)
    u_in = np.sqrt(np.diag(covariance))
    assert_printed(u_in / [1.0, 1e-3, 1.0], [0.0032, 0.0095, 0.00075], [5e-5, 5e-5, 5e-6])
    r_in = covariance / np.outer(u_in, u_in)
    assert_printed([r_in[0, 1], r_in[0, 2], r_in[1, 2]], [-0.36, 0.86, -0.65], 0.005)

    values, spread = propagate_covariance(impedance, readings.mean(axis=0), covariance)
    u = np.sqrt(np.diag(spread))
    assert_printed(values, [127.732, 219.847, 254.260], 5e-4)
    # 0.295 is printed; every digit carried it is 0.2956: a misprint or a truncation of half a digit more.
    assert_printed(u, [0.071, 0.295, 0.236], [5e-4, 1e-3, 5e-4])
    r = spread / np.outer(u, u)
    assert_printed([r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], 5e-4)


def test_h2_each_set_of_readings_by_itself() -> None:
    """GUM H.2, approach 2: evaluate R, X, Z per reading and take means; u(R) 0.071 Ω again."""
    results = np.array([impedance(row) for row in h2_readings()])
    found = [type_a(column) for column in results.T]
    assert_printed([a.mean for a in found], [127.732, 219.847, 254.260], 5e-4)
    assert_printed([a.u for a in found], [0.071, 0.295, 0.236], [5e-4, 1e-3, 5e-4])


def test_h2_ignoring_the_correlation_would_mislead() -> None:
    """With the correlations dropped u(R) is 0.195 Ω, 2.7 times too wide: they must be carried."""
    covariance = mean_covariance(h2_readings())
    _, spread = propagate_covariance(impedance, h2_readings().mean(axis=0), np.diag(np.diag(covariance)))
    assert math.sqrt(spread[0, 0]) == pytest.approx(0.195, abs=5e-4)


def test_budget_with_correlation_agrees_with_the_covariance() -> None:
    readings = h2_readings()
    covariance = mean_covariance(readings)
    u = np.sqrt(np.diag(covariance))
    inputs = [
        Input(n, float(v), float(s), 4) for n, v, s in zip("VIφ", readings.mean(axis=0), u, strict=True)
    ]
    result = budget(lambda x: impedance(x)[0], inputs, covariance / np.outer(u, u))
    assert result.u == pytest.approx(0.071, abs=5e-4)
    assert result.effective_dof is None


def test_h3_thermometer_line() -> None:
    """GUM H.3: y1 -0.1712(29) °C, y2 0.002 18(67), r -0.930, s 0.0035 °C; b(30 °C) = -0.1494(41) °C, ν 9."""
    data = table("gum", "h3_readings")
    design = np.column_stack([np.ones(11), data["temperature_c"] - 20.0])
    fit = linear_least_squares(design, data["correction_c"])
    assert fit.u is not None
    assert fit.correlation is not None
    assert_printed(fit.estimate, [-0.1712, 0.00218], [5e-5, 5e-6])
    assert_printed(fit.u, [0.0029, 0.00067], [5e-5, 5e-6])
    assert fit.correlation[0, 1] == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert fit.dof == 9
    value, spread = propagate_covariance(lambda y: y[0] + y[1] * 10.0, fit.estimate, fit.covariance)
    assert value[0] == pytest.approx(-0.1494, abs=5e-5)
    assert math.sqrt(spread[0, 0]) == pytest.approx(0.0041, abs=5e-5)


def test_type_a_of_twenty_temperatures() -> None:
    """GUM 4.4.3: mean 100.145 °C, s 1.489 °C, u 0.333 °C."""
    found = type_a(table("gum", "twenty_temperatures")["temperature_c"])
    assert found.mean == pytest.approx(100.145, abs=5e-4)
    assert found.standard_deviation == pytest.approx(1.489, abs=5e-4)
    assert found.u == pytest.approx(0.333, abs=5e-4)
    assert found.dof == 19


def test_g41_effective_degrees_of_freedom() -> None:
    """GUM G.4.1: relative u 0.25 % (ν 9), 0.57 % (4), 0.82 % (14) make 1.03 % with ν_eff = 19.0."""
    contributions, dof = [0.25, 0.57, 0.82], [9, 4, 14]
    assert math.hypot(*contributions) == pytest.approx(1.03, abs=5e-3)
    assert welch_satterthwaite(contributions, dof) == pytest.approx(19.0, abs=0.05)


def test_g3_coverage_factors() -> None:
    """GUM table G.2: t95(ν) 12.71, 2.78, 2.23 and 1.960; t99(10) 3.17 (from memory)."""
    assert coverage_factor(1, 0.95) == pytest.approx(12.71, abs=5e-3)
    assert coverage_factor(4, 0.95) == pytest.approx(2.78, abs=5e-3)
    assert coverage_factor(10.9, 0.95) == pytest.approx(2.23, abs=5e-3)
    assert coverage_factor(10, 0.99) == pytest.approx(3.17, abs=5e-3)
    assert coverage_factor(math.inf, 0.95) == pytest.approx(1.960, abs=5e-4)


def test_limits_to_standard_uncertainties() -> None:
    """GUM 4.3.7 and 4.3.9: a/√3 and a/√6; H.1.3.4: Δ of ±0.5 °C arcsine has u = 0.35 °C."""
    assert rectangular_u(3.0) == pytest.approx(math.sqrt(3.0))
    assert triangular_u(6.0) == pytest.approx(math.sqrt(6.0))
    assert arcsine_u(0.5) == pytest.approx(0.35, abs=5e-3)


@pytest.mark.parametrize(("force_rel", "density_rel", "speed_rel", "percent"), [(0.01, 0.005, 0.005, 1.500)])
def test_drag_area_by_kline_and_mcclintock(
    force_rel: float, density_rel: float, speed_rel: float, percent: float
) -> None:
    """(u/S)² = (uF/F)² + (uρ/ρ)² + (2 uv/v)² (Kline and McClintock 1953; numbers of our own, exact)."""
    inputs = [
        Input("force_n", 500.0, 500.0 * force_rel),
        Input("density_kgm3", 1.2, 1.2 * density_rel),
        Input("speed_mps", 25.0, 25.0 * speed_rel),
    ]
    result = budget(lambda x: 2.0 * x[0] / (x[1] * x[2] ** 2), inputs)
    assert result.value == pytest.approx(4.0 / 3.0, rel=1e-12)
    assert 100.0 * result.u / result.value == pytest.approx(percent, abs=5e-4)


def test_holman_products() -> None:
    """Holman, Experimental Methods: P = E I, both 1 %: 1.414 %; P = E²/R, both 1 %: 2.236 % (from memory)."""
    power = budget(lambda x: x[0] * x[1], [Input("E", 100.0, 1.0), Input("I", 10.0, 0.1)])
    assert 100.0 * power.u / power.value == pytest.approx(1.414, abs=5e-4)
    power = budget(lambda x: x[0] ** 2 / x[1], [Input("E", 100.0, 1.0), Input("R", 10.0, 0.1)])
    assert 100.0 * power.u / power.value == pytest.approx(2.236, abs=5e-4)


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="readings"):
        type_a([1.0])
    with pytest.raises(ValueError, match="readings"):
        mean_covariance([[1.0, 2.0]])
    with pytest.raises(ValueError, match="dof"):
        welch_satterthwaite([1.0], [0.0])
    with pytest.raises(ValueError, match="dof"):
        coverage_factor(0.5)
    with pytest.raises(ValueError, match="inputs"):
        budget(lambda x: x, [])
    with pytest.raises(ValueError, match="correlation"):
        budget(lambda x: x[0], [Input("x", 1.0, 0.1)], np.eye(2))
    with pytest.raises(ValueError, match="covariance"):
        propagate_covariance(lambda x: x, [1.0, 2.0], np.eye(3))
