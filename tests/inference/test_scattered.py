"""A quantity told between scattered points: exact surfaces, the hull, and whether its u is right on made surfaces."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.spatial

from server.inference.scattered import hull_distance, tell_at

GRID = np.array([[x, y] for x in (-4.0, 0.0, 4.0) for y in (-4.0, 0.0, 4.0)])


def test_a_quadratic_is_told_exactly_with_its_gradient() -> None:
    points = np.vstack([GRID, [[2.0, 1.0], [-3.0, 2.5]]])
    values = 1.0 + 0.2 * points[:, 0] - 0.1 * points[:, 1] + 0.03 * points[:, 0] ** 2 + 0.02 * np.prod(points, axis=1)
    told = tell_at(points, values, np.array([1.0, -2.0]))
    assert told.model == "quadratic"
    assert told.varied == 2
    assert told.value == pytest.approx(1.0 + 0.2 + 0.2 + 0.03 - 0.04, abs=1e-10)
    assert told.gradient == pytest.approx([0.2 + 0.06 - 0.04, -0.1 + 0.02], abs=1e-10)
    assert told.u < 1e-10


def test_points_along_a_line_tell_nothing_across_it() -> None:
    points = np.array([[0.0, 0.0], [3.0, 3.0], [6.0, 6.0], [9.0, 9.0]])
    told = tell_at(points, np.array([1.0, 1.3, 1.6, 1.9]), np.array([4.0, 5.0]))
    assert told.varied == 1
    assert told.model == "linear"
    assert told.gradient == pytest.approx([0.05, 0.05], abs=1e-12)
    assert told.unvaried == pytest.approx(np.hypot(0.5, 0.5), abs=1e-12)


def test_one_point_is_itself_and_has_no_gradient() -> None:
    told = tell_at(np.array([[1.0, 1.0]]), np.array([3.3]), np.array([1.5, 1.0]))
    assert (told.value, told.model, told.varied, told.dof) == (3.3, "mean", 0, 0)
    assert told.unvaried == pytest.approx(0.5)


def test_a_point_at_a_case_takes_that_case() -> None:
    values = np.sin(GRID[:, 0]) + GRID[:, 1]
    told = tell_at(GRID, values, GRID[4] + 0.1)
    assert told.model == "the case itself"
    assert told.value == pytest.approx(values[4], abs=0.2)


def test_two_points_are_as_doubtful_as_a_curve_between_them_may_bend() -> None:
    told = tell_at(np.array([[0.0], [8.0]]), np.array([1.0, 2.0]), np.array([4.0]))
    assert told.value == pytest.approx(1.5)
    assert told.u == pytest.approx(0.5 / 3**0.5)


def test_distance_from_the_hull() -> None:
    """Inside nothing; outside that of the nearest facet, as qhull has it."""
    rng = np.random.default_rng(2_640_040)
    points = rng.normal(size=(30, 3))
    hull = scipy.spatial.ConvexHull(points)
    for _ in range(40):
        point = 1.5 * rng.normal(size=3)
        outside = float(np.max(hull.equations[:, :3] @ point + hull.equations[:, 3]))
        if outside <= 0.0:
            assert hull_distance(points, point) < 1e-6
        else:
            assert hull_distance(points, point) >= outside - 1e-6
    assert hull_distance(np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([3.0, 0.0])) == pytest.approx(2.0, abs=1e-6)


@pytest.mark.parametrize(("directions", "count"), [(1, 3), (1, 6), (2, 5), (2, 9), (2, 25)])
def test_u_is_right_on_made_surfaces(directions: int, count: int) -> None:
    """Smooth random surfaces (Gaussian processes with a slope), with and without noise of the cases: 95 % of intervals
    with the case's own noise in them hold the surface, within what the draws tell."""
    rng = np.random.default_rng(2_640_050 + 100 * directions + count)
    held = told = 0
    while told < 250:
        noise, length = rng.choice([0.0, 0.05]), rng.choice([8.0, 14.0, 30.0])
        points = np.linspace(-5.0, 5.0, count)[:, None] + rng.uniform(-1.0, 1.0, (count, 1))
        if directions == 2:
            points = rng.uniform(-5.0, 5.0, (count, 2))
        at = rng.uniform(-4.0, 4.0, directions)
        if hull_distance(points, at) > 1.0:
            continue
        every = np.vstack([points, at])
        apart = np.sum((every[:, None] - every[None]) ** 2, axis=2)
        covariance = np.exp(-0.5 * apart / length**2) + 1e-9 * np.eye(count + 1)
        surface = np.linalg.cholesky(covariance) @ rng.standard_normal(count + 1)
        surface += every @ rng.normal(0.0, 0.15, directions)
        found = tell_at(points, surface[:-1] + noise * rng.standard_normal(count), at)
        told += 1
        held += abs(found.value - surface[-1]) <= 1.96 * np.hypot(found.u, noise)
    assert held / told > 0.95 - 3.0 * (0.95 * 0.05 / told) ** 0.5
