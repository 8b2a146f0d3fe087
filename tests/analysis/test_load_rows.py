"""Axle loads in the day's model: values against the physics in server.aero, columns against finite differences."""

from dataclasses import replace

import numpy as np
import pytest

from server.aero.axle_loads import axle_load_change, load_transfer
from server.aero.suspension import heights_at_axles, series_rate
from server.analysis.day_fit import _all_passes, _problem, _usable
from server.analysis.day_grid import Point, path_speed
from server.analysis.day_model import linearise
from server.analysis.day_priors import CROSS_WIND_SD_MPS, YAW_GROWTH
from server.analysis.day_problem import DayProblem
from server.analysis.fit_options import FitOptions
from server.analysis.load_at_springs import through_joints
from server.analysis.load_blocks import load_context
from server.analysis.load_data import AXLE_OF, day_loads
from server.analysis.prepare import prepare_day
from server.analysis.weather import day_air
from tests.simulator import Scenario, draw_day

SOURCES = ("damper", "ride height", "push rod")


@pytest.fixture(scope="module")
def problem() -> DayProblem:
    scenario = Scenario(pairs=1, dampers=True, load_sources=SOURCES, constant_speeds_mps=(18.0,))
    day, _ = prepare_day(draw_day(12, scenario).day)
    axles = {
        end: replace(getattr(day.car, end), joint_friction_n=replace(day.car.front.joint_friction_n, value=0.0, u=0.0))
        for end in ("front", "rear")
    }
    day = replace(day, car=replace(day.car, **axles))
    passes, _ = _all_passes(day, FitOptions())
    loads = day_loads(day, passes, {})
    return _problem(day, passes, _usable(day, passes, loads), day_air(day, YAW_GROWTH, CROSS_WIND_SD_MPS), loads)


@pytest.fixture(scope="module")
def point(problem: DayProblem) -> Point:
    rng = np.random.default_rng(4)
    priors, n = problem.priors, len(problem.grid.passes)
    theta = priors.mean + 0.3 * priors.u * rng.standard_normal(len(priors.parameters))
    for name in problem.setup_names:
        theta[priors.index(f"scx:{name}")] = 1.4
        theta[priors.index(f"scz_front:{name}")], theta[priors.index(f"scz_rear:{name}")] = 1.5, 1.8
    for end in ("front", "rear"):
        theta[priors.index(f"joint_{end}")] = -200.0  # no friction at all: its smooth corner is tested below
    return Point(theta, rng.normal(0.0, 1.0, n), rng.normal(0.0, 0.03, n))


def linear_at(problem: DayProblem, point: Point):
    return linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)


def rows_of(problem: DayProblem, linear, kind: int) -> tuple[np.ndarray, np.ndarray]:
    segments = linear.segments
    node = np.repeat(np.arange(len(problem.grid.time_s)), np.diff(segments.row_start))
    mine = np.flatnonzero(segments.kind == kind)
    return mine, node[mine]


def values(problem: DayProblem, point: Point) -> dict[str, float]:
    return {p.name: float(t) for p, t in zip(problem.priors.parameters, point.theta, strict=True)}


@pytest.mark.parametrize("kind", [2, 3, 4, 5, 6, 7])
def test_readings_are_those_of_the_physics(problem: DayProblem, point: Point, kind: int) -> None:
    linear, value, car, grid = linear_at(problem, point), values(problem, point), problem.car, problem.grid
    motion, end = linear.motion, AXLE_OF[kind]
    height, base = car.cg_height_m.value * (1.0 + value["lever"]), car.wheelbase_m.value
    moved = load_transfer(
        motion.accel,
        motion.mass,
        height,
        base,
        axle_inertia_kgm2=np.array(
            [[getattr(car, e).axle_inertia_kgm2.value * (1 + value["lever"])] for e in ("front", "rear")]
        ).sum(),
        tyre_radius_m=1.0,
        grade=motion.slope,
    )
    spin = sum(
        getattr(car, e).axle_inertia_kgm2.value * (1 + value[f"inertia_{e}"]) / getattr(car, e).tyre_radius_m.value
        for e in ("front", "rear")
    ) - sum(getattr(car, e).axle_inertia_kgm2.value for e in ("front", "rear"))
    moved = moved + spin * motion.accel * (1 + value["lever"]) / base
    factor = {e: np.ones(len(motion.speed)) for e in ("front", "rear")}
    for _ in range(3):
        loads = axle_load_change(
            2.0 * motion.half_density,
            motion.air_speed,
            value["scz_front:A"] * factor["front"],
            value["scz_rear:A"] * factor["rear"],
            moved,
        )
        reference = load_context(grid, problem.setup_names, car).reference_pressure_pa
        for e, load in zip(("front", "rear"), loads, strict=True):
            still = reference * value[f"scz_{e}:A"]
            factor[e] = 1.0 + value[f"bend_{e}:A"] * (load - still) / still
    rate = {}
    spring_loads = {}
    changes = [
        np.concatenate([np.gradient(load[a:b], 0.2) for a, b in zip(grid.start[:-1], grid.start[1:], strict=True)])
        for load in loads
    ]
    # a wheel's speed that is late stands beside loads that have gone on falling
    loads = [load + value["speed_late"] * change for load, change in zip(loads, changes, strict=True)]
    for e, load, change in zip(("front", "rear"), loads, changes, strict=True):
        spring_loads[e] = load - value[f"lag_{e}"] * change
        if e == "rear":
            spring_loads[e] = spring_loads[e] - value["anti_squat"] * motion.drive_n * car.cg_height_m.value / base
        axle = getattr(car, e)
        rate[e] = 2.0 * axle.spring_rate_n_per_m.value * axle.motion_ratio.value**2 * (1.0 + value[f"rate_{e}"])
    if kind in {2, 3}:
        gain = 1.0 + value.get(f"damper_gain_{end}", 0.0)
        expected = gain * spring_loads[end] / (1.0 + value[f"rate_{end}"])
    elif kind in {6, 7}:
        expected = (1.0 + value[f"rod_ratio_{end}"]) * spring_loads[end]
    else:
        drops = []
        for e, load in zip(("front", "rear"), loads, strict=True):
            tyre = 2.0 * getattr(car, e).tyre_rate_n_per_m.value * (1.0 + value[f"tyre_rate_{e}"])
            assert 1.0 / rate[e] + 1.0 / tyre == pytest.approx(1.0 / series_rate(rate[e], tyre))
            drops.append(spring_loads[e] / rate[e] + load / tyre - value["tyre_growth"] * (motion.speed / 20.0) ** 2)
        # at the sensors, so that the lever rule of server.aero gives the drops over the axles back
        x = value[f"sensor_x_{end}"]
        pitch = (drops[0] - drops[1]) / base
        expected = (drops[0] if end == "front" else drops[1]) + x * pitch
        other = drops[1] if end == "front" else drops[0]
        pair = (expected, other) if end == "front" else (other, expected)
        back = heights_at_axles(*pair, base, x if end == "front" else 0.0, x if end == "rear" else 0.0)
        np.testing.assert_allclose(back[0 if end == "front" else 1], drops[0 if end == "front" else 1], rtol=1e-9)
        expected = expected * (1.0 + value[f"height_gain_{end}"])
    mine, node = rows_of(problem, linear, kind)
    speed = path_speed(grid, grid.time_s, value)[node]
    seen = linear.segments.direct[mine, 0] + linear.segments.see[mine, 0] * speed
    np.testing.assert_allclose(seen, expected[node], rtol=2e-3, atol=2e-4 * np.ptp(expected))


def test_every_column_of_a_load_is_the_derivative(problem: DayProblem, point: Point) -> None:
    linear, value, grid = linear_at(problem, point), values(problem, point), problem.grid
    speed = path_speed(grid, grid.time_s, value)
    of_speeds = {"scale0", "scale2", "delay", "wheel_lag", "satellite"}
    checked = 0
    for i, parameter in enumerate(problem.priors.parameters):
        if parameter.name in of_speeds or parameter.name.startswith(("joint_", "t0", "t1")):
            continue
        step = 1e-3 * parameter.u
        both = []
        for sign in (1.0, -1.0):
            theta = point.theta.copy()
            theta[i] += sign * step
            moved = linear_at(problem, replace(point, theta=theta))
            both.append(moved)
        for kind in grid.load_kinds:
            mine, node = rows_of(problem, linear, kind)
            up, down = (m.segments.direct[mine, 0] + m.segments.see[mine, 0] * speed[node] for m in both)
            expected = (up - down) / (2.0 * step) * parameter.u
            column = linear.segments.direct[mine, 1 + i]
            size = max(float(np.max(np.abs(expected))), 1e-9)
            loose = 0.15 if parameter.name.startswith(("scz_", "bend_")) else 0.06  # the sink's own bend is left out
            least = 0.3 if kind not in {4, 5} else 6e-6  # N or m: thrust at constant speed knows no bend and no mass
            assert np.max(np.abs(column - expected)) < loose * size + least, (parameter.name, kind)
            checked += float(np.max(np.abs(expected))) > least
    assert checked > 60


def test_wind_and_speed_act_alike_on_the_aerodynamic_part(problem: DayProblem, point: Point) -> None:
    linear, grid = linear_at(problem, point), problem.grid
    wind = 1 + len(problem.priors.parameters)
    for kind in (2, 6):  # of the undriven axle: the thrust that holds the speed acts on the other
        mine, node = rows_of(problem, linear, kind)
        steady = ~grid.coasting[node]
        way = np.where(grid.direction[grid.of_node] == 0, 1.0, grid.direction[grid.of_node])[node]
        see = linear.segments.see[mine]
        # held at speed dv/dt is given, so a head wind, a gust and speed itself load the axles alike
        np.testing.assert_allclose(
            linear.segments.direct[mine[steady], wind] * way[steady], see[steady, 1], rtol=1e-6, atol=1e-9
        )


@pytest.mark.parametrize("friction", [5.0, 20.0, 40.0])
def test_joints_first_turn_round(problem: DayProblem, point: Point, friction: float) -> None:
    """A falling front load through a play of ± f, started from the rising side: what the springs carry."""
    from server.analysis.load_blocks import load_columns
    from server.analysis.load_terms import Linear

    load = np.linspace(700.0, 60.0, 90)
    held, springs = load[0] - friction, []
    for value in load:
        held = min(max(held, value - friction), value + friction)
        springs.append(held)
    columns = load_columns(problem.grid, problem.priors, {**values(problem, point), "joint_front": friction})
    plain = Linear(load, np.ones(90), np.ones(90), np.ones((90, columns.width)))
    flat = Linear(np.concatenate([[load[0]], load[1:]]), plain.by_speed, plain.by_gust, plain.by_column)
    seen = through_joints(flat, load, columns, "front", [slice(0, 90)], 0.2)
    # the pass began before its first node: some of the play is crossed already, the level is free
    crossed = 0.8 * (load[0] - load[1]) / 0.2
    start = np.searchsorted(-load, -(load[0] - max(2.0 * friction - crossed, 0.0)))
    after = slice(int(start) + 12, 90)
    np.testing.assert_allclose(seen.value[after], load[after], atol=0.5)
    np.testing.assert_allclose(np.array(springs)[after] - seen.value[after], friction, atol=0.5)
    assert np.all(seen.value <= load + 1e-9)
    assert np.all(np.diff(seen.by_speed) >= -1e-12)
    rear = through_joints(flat, load, columns, "rear", [slice(0, 90)], 0.2)  # the lift has turned it already
    np.testing.assert_array_equal(rear.value, load)
