"""The linearised model against finite differences of the equation of motion written elsewhere."""

from dataclasses import replace

import numpy as np
import pytest

from server.aero.road_load import RoadLoadCar, Surroundings, resistance_forces
from server.analysis.day_fit import _all_passes, _problem, _usable
from server.analysis.day_grid import Point
from server.analysis.day_model import linearise
from server.analysis.day_priors import CROSS_WIND_SD_MPS, YAW_GROWTH
from server.analysis.day_problem import DayProblem
from server.analysis.fit_options import FitOptions
from server.analysis.load_data import day_loads
from server.analysis.prepare import prepare_day
from server.analysis.weather import day_air
from tests.simulator import Scenario, draw_day


@pytest.fixture(scope="module")
def problem() -> DayProblem:
    day, _ = prepare_day(draw_day(11, Scenario(pairs=1, setups=2)).day)
    passes, _ = _all_passes(day, FitOptions())
    loads = day_loads(day, passes, {})
    data = _usable(day, passes, loads)
    return _problem(day, passes, data, day_air(day, YAW_GROWTH, CROSS_WIND_SD_MPS), loads)


def acceleration(problem: DayProblem, theta: dict[str, float], speed, wind, scatter):
    """dv/dt [m/s²] at every node by server.aero's own equation; speed shift in m/s, wind 'out', scatter of c0."""
    grid, car = problem.grid, problem.car
    node = grid.of_node
    value = theta.__getitem__
    setup = np.array(grid.setup_of_pass)[node]
    scx = np.array([value(f"scx:{s}") for s in problem.setup_names])[setup]
    scz = np.array([value(f"scz_front:{s}") + value(f"scz_rear:{s}") for s in problem.setup_names])[setup]
    drivers = np.array([v for k, v in theta.items() if k.startswith("mass_driver_")])
    mass = grid.mass[node] + value("mass_car") + drivers[grid.driver_of_pass[node]]
    spun = [
        axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value**2 * (1.0 + value(f"inertia_{name}"))
        for name, axle in (("front", car.front), ("rear", car.rear))
    ]
    waves = np.zeros(len(node))
    for name, size in theta.items():
        if name.startswith("wave_"):
            _, part, order = name.split("_")
            phase = 2.0 * np.pi * int(order) * grid.position_m / (1.15 * grid.span_m)
            waves += size * (np.cos(phase) if part == "cos" else np.sin(phase))
    air = value("pressure") + value("temperature") + value("humidity") + value("air_away") * grid.away_h[node]
    density = grid.density[node] * (1.0 + air)
    swell = 1.0 + scatter[node] + value("warm") * grid.warm + value("drift") * grid.day_h[node]
    direction = grid.direction[node]
    law = RoadLoadCar(
        mass_kg=mass,
        effective_mass_kg=mass + sum(spun),
        drag_area_m2=scx,
        downforce_area_m2=scz,
        c0=value("c0") * swell,
        c1_s_per_m=value("c1"),
        driveline_drag_n=value("t0"),
        driveline_drag_n_per_mps=value("t1"),
    )
    around = Surroundings(density, direction * wind[node], 0.0, direction * (value("grade") + waves))
    side = 0.5 * density * scx * value("cross")
    return -(resistance_forces(speed, law, around).total_n + side) / law.effective_mass_kg


@pytest.fixture(scope="module")
def case(problem: DayProblem):
    rng = np.random.default_rng(2)
    priors = problem.priors
    theta = priors.mean + 0.3 * priors.u * rng.standard_normal(len(priors.parameters))
    for name in problem.setup_names:
        theta[priors.index(f"scx:{name}")] = rng.uniform(1.0, 1.6)
    n = len(problem.grid.passes)
    point = Point(theta, rng.normal(0.0, 1.0, n), rng.normal(0.0, 0.03, n))
    linear = linearise(problem.grid, priors, problem.setup_names, point, problem.car)
    named = {p.name: float(t) for p, t in zip(priors.parameters, theta, strict=True)}
    from server.analysis.day_grid import path_speed

    speed = path_speed(problem.grid, problem.grid.mid_s, named)
    return point, linear, named, speed


def test_mean_acceleration_and_its_slope_in_speed(problem: DayProblem, case) -> None:
    point, linear, named, speed = case
    a = linear.segments.a
    here = acceleration(problem, named, speed, point.wind, point.scatter)
    np.testing.assert_allclose(linear.segments.forcing[:, 0] + a * speed, here, rtol=1e-9)
    up = acceleration(problem, named, speed + 1e-4, point.wind, point.scatter)
    down = acceleration(problem, named, speed - 1e-4, point.wind, point.scatter)
    np.testing.assert_allclose(a, (up - down) / 2e-4, rtol=1e-5)


def test_every_shared_column_is_the_derivative(problem: DayProblem, case) -> None:
    point, linear, named, speed = case
    sensors = {"scale0", "scale2", "delay", "wheel_lag", "satellite"}
    for i, parameter in enumerate(problem.priors.parameters):
        column = linear.segments.forcing[:, 1 + i] / parameter.u
        if parameter.name in sensors:
            assert not np.any(column)
            continue
        step = 1e-4 * max(parameter.u, 1e-6)
        moved = [
            acceleration(
                problem, {**named, parameter.name: named[parameter.name] + s}, speed, point.wind, point.scatter
            )
            for s in (step, -step)
        ]
        expected = (moved[0] - moved[1]) / (2.0 * step)
        np.testing.assert_allclose(column, expected, rtol=2e-4, atol=1e-9 / step, err_msg=parameter.name)


def test_own_columns_are_the_derivatives_of_wind_and_scatter(problem: DayProblem, case) -> None:
    point, linear, named, speed = case
    for column, name in ((-2, "wind"), (-1, "scatter")):
        ends = [
            acceleration(problem, named, speed, **{**vars_of(point), name: getattr(point, name) + s})
            for s in (1e-5, -1e-5)
        ]
        np.testing.assert_allclose(linear.segments.forcing[:, column], (ends[0] - ends[1]) / 2e-5, rtol=1e-4)


def vars_of(point: Point) -> dict[str, np.ndarray]:
    return {"wind": point.wind, "scatter": point.scatter}


def test_gust_coefficient_is_the_winds_at_still_cross_air(problem: DayProblem, case) -> None:
    point, _, named, _ = case
    theta = point.theta.copy()
    theta[problem.priors.index("cross")] = 0.0
    still = linearise(problem.grid, problem.priors, problem.setup_names, replace(point, theta=theta), problem.car)
    wind = still.segments.forcing[:, -2] * problem.grid.direction[problem.grid.of_node]
    np.testing.assert_allclose(still.segments.b, wind, rtol=1e-12)
    assert "cross" in named
