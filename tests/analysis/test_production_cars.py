"""Published road-load coefficients of production cars made into coast-downs and given back.

Source: tests/published/epa_test_cars/CITATION. The 2022 list and the drag areas are read from ../shared/data
where they are present; the tests that need them are skipped otherwise.
"""

import csv
from collections.abc import Iterator

import numpy as np
import pytest

from server.aero.areas import area_from_force
from server.aero.coast_down import QuadraticLaw, speed_after
from server.analysis.interval_method import CoastDown, IntervalOptions, interval_method
from server.inference.least_squares import (
    linear_least_squares,
    nonlinear_least_squares,
    polynomial_design,
)
from tests.published import outside_data, table

POUND_FORCE, POUND, MILE_PER_HOUR, KMH = 4.4482216152605, 0.45359237, 0.44704, 1.0 / 3.6
REFERENCE_DENSITY = 1.1671  # 20 °C, 98.21 kPa, dry
RATE_S = 0.1

Car = tuple[float, float, float, float]
"""Effective mass [kg], a [N], b [N s/m], c [N s²/m²]."""


def car(weight_lb: float, a_lbf: float, b_lbf: float, c_lbf: float) -> Car:
    """In SI. The equivalent test weight is the inertia set on the rollers: taken as the effective mass."""
    return (
        weight_lb * POUND,
        a_lbf * POUND_FORCE,
        b_lbf * POUND_FORCE / MILE_PER_HOUR,
        c_lbf * POUND_FORCE / MILE_PER_HOUR**2,
    )


def coefficients(row: dict[str, str]) -> Car | None:
    names = ("Target Coef A (lbf)", "Target Coef B (lbf/mph)", "Target Coef C (lbf/mph**2)")
    try:
        a, b, c = (float(row[name]) for name in names)
        return car(float(row["Equivalent Test Weight (lbs.)"]), a, b, c) if a > 0.0 and c > 0.0 else None
    except ValueError:
        return None


def listed_cars() -> Iterator[tuple[str, Car]]:
    """Test vehicle id and coefficients of every entry that has them."""
    path = outside_data("epa_test_cars", "22-tstcar.csv")
    with path.open(encoding="latin-1", newline="") as file:
        for row in csv.DictReader(file):
            found = coefficients(row)
            if found is not None:
                yield row["Test Vehicle ID"], found


def integrated(cars: np.ndarray, start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Coast-downs of all cars at once by the classical Runge-Kutta scheme, apart from the closed form."""
    mass, a, b, c = cars.T

    def slope(v: np.ndarray) -> np.ndarray:
        return -(a + b * v + c * v**2) / mass

    speeds = [np.full(len(cars), start)]
    while np.max(speeds[-1]) > end:
        v = speeds[-1]
        k1 = slope(v)
        k2 = slope(v + 0.5 * RATE_S * k1)
        k3 = slope(v + 0.5 * RATE_S * k2)
        k4 = slope(v + RATE_S * k3)
        speeds.append(np.maximum(v + RATE_S / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4), 0.0))
    return RATE_S * np.arange(len(speeds)), np.array(speeds)


def passes(time: np.ndarray, speed: np.ndarray, end: float) -> list[CoastDown]:
    kept = speed > end
    return [CoastDown(time[kept], speed[kept], way) for way in (1, -1) * 2]


def every_nth_listed(count: int) -> np.ndarray:
    unique = sorted({found for _, found in listed_cars()})
    return np.array(unique[:: max(1, len(unique) // count)])


NARROW = IntervalOptions(
    reference_speeds_mps=tuple(np.arange(20.0, 111.0, 10.0) * KMH), half_window_mps=1.0 * KMH, smoothing_s=0.0
)
PUBLISHED_GRID = IntervalOptions(reference_speeds_mps=tuple(np.arange(20.0, 111.0, 10.0) * KMH))


def test_interval_method_gives_listed_cars_back() -> None:
    """200 cars of the 2022 list, 120 to 11 km/h: ±1 km/h windows give A, B, C to 0.2 % of force at 60 km/h.

    The published ±5 km/h windows lower the force by 0.1 to 0.4 %; the drag area from C stays within 1.5 %.
    """
    cars = every_nth_listed(200)
    time, speeds = integrated(cars, 120.0 * KMH, 10.0 * KMH)
    v = 60.0 * KMH
    for (mass, a, b, c), speed in zip(cars, speeds.T, strict=True):
        result = interval_method(passes(time, speed, 11.0 * KMH), mass, REFERENCE_DENSITY, NARROW)
        assert result.three_term is not None
        off = np.array(result.three_term) - [a, b, c]
        assert np.all(np.abs(off * [1.0, v, v**2]) < 2e-3 * (a + b * v + c * v**2))
        wide = interval_method(passes(time, speed, 11.0 * KMH), mass, REFERENCE_DENSITY, PUBLISHED_GRID)
        assert wide.scx_three_term is not None
        assert wide.scx_three_term.value == pytest.approx(2.0 * c / REFERENCE_DENSITY, rel=0.015)


def test_least_squares_on_the_trajectory_gives_listed_cars_back() -> None:
    """The same cars by a fit of v(t) with start speed and three coefficients free: A, B, C to six digits."""
    cars = every_nth_listed(60)
    time, speeds = integrated(cars, 120.0 * KMH, 10.0 * KMH)
    for (mass, a, b, c), speed in zip(cars, speeds.T, strict=True):
        kept = speed > 11.0 * KMH

        def misfit(
            x: np.ndarray, kept: np.ndarray = kept, mass: float = mass, v: np.ndarray = speed
        ) -> np.ndarray:
            law = QuadraticLaw(mass, x[0], x[1], np.maximum(x[2], 0.0))
            return speed_after(time[kept], x[3], law) - v[kept]

        fit = nonlinear_least_squares(misfit, [0.8 * a, 0.0, 1.2 * c, 118.0 * KMH])
        scale = a + b * 16.0 + c * 16.0**2
        np.testing.assert_allclose(
            fit.estimate[:3] * [1.0, 16.0, 256.0], [a, 16.0 * b, 256.0 * c], atol=1e-6 * scale
        )


def test_two_terms_take_the_linear_one_for_drag() -> None:
    """B ≠ 0 moves a two-term area by 2κB/ρ, κ of the reference speeds alone: the median car by 9 % and more.

    κ = Σ (v - v̄)(v² - mean v²) / Σ (v² - mean v²)² over the windows: the slope of v on v².
    """
    cars = every_nth_listed(100)
    time, speeds = integrated(cars, 120.0 * KMH, 10.0 * KMH)
    v = np.array(PUBLISHED_GRID.reference_speeds_mps)
    kappa = float(np.polyfit(v**2, v, 1)[0])
    shares = []
    for (mass, _, b, c), speed in zip(cars, speeds.T, strict=True):
        result = interval_method(passes(time, speed, 11.0 * KMH), mass, REFERENCE_DENSITY, NARROW)
        expected = 2.0 * kappa * b / REFERENCE_DENSITY
        assert result.scx_two_term is not None
        area = 2.0 * c / REFERENCE_DENSITY
        assert result.scx_two_term.value - area == pytest.approx(expected, abs=5e-4 * area)
        shares.append(abs(expected) / area)
    assert np.median(shares) > 0.09


def test_quoted_coefficients_and_areas() -> None:
    """Six quoted cars: 2C/ρ to half the last digit, the two-term area over 15 to 115 km/h within 1 %."""
    v = np.linspace(15.0, 115.0, 101) * KMH
    for a, b, c, weight, area_from_c, area_two_term in table("epa_test_cars", "rows"):
        _, f0, f1, f2 = car(weight, a, b, c)
        assert area_from_force(f2, REFERENCE_DENSITY, 1.0) == pytest.approx(area_from_c, abs=5e-4)
        two = linear_least_squares(polynomial_design(v, (0, 2)), f0 + f1 * v + f2 * v**2)
        assert area_from_force(two.estimate[1], REFERENCE_DENSITY, 1.0) == pytest.approx(
            area_two_term, rel=0.01
        )


def test_conversion_of_the_quoted_car() -> None:
    """27.02 lbf, 0.2873, 0.0122 are 120.19 N, 2.8587 N s/m, 0.27155 N s²/m²."""
    _, f0, f1, f2 = car(4250.0, 27.02, 0.2873, 0.0122)
    assert f0 == pytest.approx(120.19, abs=5e-3)
    assert f1 == pytest.approx(2.8587, abs=5e-5)
    assert f2 == pytest.approx(0.27155, abs=5e-6)


# Selection numbers of the vehicle table whose body (generation) is that of test vehicles in the 2022 list.
SAME_BODY = {
    "17": ("1NFV5831",),
    "19": ("KWB115", "KWC511"),
    "24": ("21-JD2F",),
    "43": ("3R022-043763",),
    "51": ("202016", "202017", "202202"),
    "55": ("22-MG1C", "22-MG2C"),
    "56": ("2N13701",),
    "63": ("19-AA2H",),
}


def published_areas() -> dict[str, float]:
    path = outside_data("epa_test_cars", "vehicle_table.csv")
    with path.open(encoding="utf-8", newline="") as file:
        return {
            row["selection"]: float(row["drag_coef"]) * float(row["frontal_area_m2"])
            for row in csv.DictReader(file)
        }


@pytest.mark.parametrize("selection", SAME_BODY)
def test_drag_area_against_published_cd_times_a(selection: str) -> None:
    """The two-term area of a made coast-down lies within 20 % of the published Cd·A, of the median car 15 %.

    Not nearer: published Cd are of tunnels with other wheels, B shares losses that rise with speed, and the
    three-term area alone may lie 30 % low.
    """
    published = published_areas()[selection]
    cars = np.array([found for vehicle, found in listed_cars() if vehicle in SAME_BODY[selection]])
    assert len(cars) > 0
    time, speeds = integrated(cars, 120.0 * KMH, 10.0 * KMH)
    areas = []
    for (mass, *_), speed in zip(cars, speeds.T, strict=True):
        result = interval_method(passes(time, speed, 11.0 * KMH), mass, REFERENCE_DENSITY, PUBLISHED_GRID)
        assert result.scx_two_term is not None
        areas.append(result.scx_two_term.value)
    assert np.all(np.abs(np.array(areas) / published - 1.0) < 0.20)
    assert np.median(areas) == pytest.approx(published, rel=0.15)
