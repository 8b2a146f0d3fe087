"""Axle loads, ride rates and frequencies against worked examples of textbooks (source: textbooks/CITATION)."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from server.aero.axle_loads import load_transfer, static_axle_loads
from server.aero.suspension import ride_frequency, wheel_rate
from server.analysis.axle_spring import axle_spring
from server.analysis.load_at_springs import sink_compliance
from server.analysis.load_terms import LoadContext
from server.testday.values import Axle, Quantity
from tests.published import table

FOOT, INCH, POUND, POUND_FORCE = 0.3048, 0.0254, 0.45359237, 4.4482216152605
G_FTPS2 = 32.2  # as the books take it


def test_van_that_brakes_to_rest() -> None:
    """Beer and Johnston 16.1: 0.650 W on the front, 0.350 W on the rear wheels."""
    row = table("textbooks", "axle_loads")
    a = -(row["speed_ftps"] ** 2) / (2.0 * row["distance_ft"])
    assert a == pytest.approx(-22.5)
    gravity = G_FTPS2 * FOOT
    front_share = row["rear_to_cg_ft"] / row["wheelbase_ft"]
    rest = static_axle_loads(1000.0, front_share, gravity)
    moved = load_transfer(a * FOOT, 1000.0, row["height_ft"] * FOOT, row["wheelbase_ft"] * FOOT)
    weight = 1000.0 * gravity
    assert (rest.front_n - moved) / weight == pytest.approx(row["front_over_weight"], abs=5e-4)
    assert (rest.rear_n + moved) / weight == pytest.approx(row["rear_over_weight"], abs=5e-4)


def test_pickup_that_speeds_up_on_a_slope() -> None:
    """Meriam and Kraige 6/1: what has moved is half the difference of 1763 and 1441 lb, weights alike at rest.

    The transfer takes m (a + g γ); the book's g sin θ is γ at 10 % within half a per cent of itself.
    """
    row = table("textbooks", "pickup")
    a = row["speed_ftps"] ** 2 / (2.0 * row["distance_ft"])
    assert a == pytest.approx(row["acceleration_ftps2"], abs=5e-3)
    mass, gravity = row["weight_lb"] * POUND, G_FTPS2 * FOOT
    slope = row["grade"] / math.hypot(1.0, row["grade"])
    for grade, half_digit in ((slope, 0.5), (row["grade"], 0.5)):
        moved = load_transfer(
            a * FOOT,
            mass,
            row["height_in"] * INCH,
            row["wheelbase_in"] * INCH,
            grade=grade,
            gravity_mps2=gravity,
        )
        in_pounds = moved / (POUND * gravity)
        assert in_pounds == pytest.approx(0.5 * (row["rear_lb"] - row["front_lb"]), abs=half_digit)
        across = row["weight_lb"] * math.sqrt(1.0 - slope**2)
        assert 0.5 * across - in_pounds == pytest.approx(row["front_lb"], abs=0.75)
        assert 0.5 * across + in_pounds == pytest.approx(row["rear_lb"], abs=0.75)
    force = mass * (a * FOOT + gravity * slope) / (POUND * gravity)
    assert force == pytest.approx(row["friction_lb"], abs=0.5)


def test_weighed_sedan() -> None:
    """Gillespie ch. 1: the front share of the weights is c/L, so the centre of gravity is 39.64 in behind the axle."""
    row = table("textbooks", "weighed")
    total = row["front_lb"] + row["rear_lb"]
    share = row["front_lb"] / total
    assert (1.0 - share) * row["wheelbase_in"] == pytest.approx(row["cg_behind_front_in"], abs=5e-3)
    loads = static_axle_loads(total * POUND, share)
    np.testing.assert_allclose(
        [loads.front_n / POUND_FORCE, loads.rear_n / POUND_FORCE], [row["front_lb"], row["rear_lb"]], atol=0.5
    )


def test_ride_rates_of_whole_axles() -> None:
    """Gillespie ch. 5: 127.75 and 92.3 lb/in a wheel, so twice that an axle, by what the fit makes of an axle."""
    rows = table("textbooks", "ride_rates")
    unit = POUND_FORCE / INCH
    suspensions, tyres = (np.atleast_1d(rows[name]) for name in ("suspension_lb_per_in", "tyre_lb_per_in"))
    for suspension, tyre, ride in zip(suspensions, tyres, np.atleast_1d(rows["ride_lb_per_in"]), strict=True):
        axle = Axle(
            Quantity(0.4),
            Quantity(0.23),
            Quantity(suspension * unit),
            Quantity(1.0),
            tyre_rate_n_per_m=Quantity(tyre * unit),
        )
        spring = axle_spring(axle, 0.0)
        car = SimpleNamespace(front=axle, rear=axle)
        context = LoadContext(car, {"front": spring, "rear": spring}, (), 22.0, 1.2)
        assert 0.5 / sink_compliance(context, "front", {}) / unit == pytest.approx(ride, abs=0.05)


def test_frequency_constant() -> None:
    """Gillespie ch. 5: f = 0.159 sqrt(RR g/W) (from memory)."""
    rate, weight = 127.75 * POUND_FORCE / INCH, 957.0 * POUND_FORCE
    constant = ride_frequency(rate, weight / 9.80665) / math.sqrt(rate * 9.80665 / weight)
    assert constant == pytest.approx(0.159, abs=5e-4)


def test_wheel_rate_by_the_work_of_a_linkage() -> None:
    """Milliken ch. 16 (from memory): wheel rate = spring rate times the installation ratio squared.

    Proved on a swing arm drawn out: wheel at 0.40 m, spring foot at 0.24 m from the pivot and 60° to the arm; the
    second derivative of the spring's energy by small moves of the wheel.
    """
    arm, foot, top = 0.40, 0.24, np.array([0.24 - 0.25 * math.cos(math.pi / 3.0), 0.25 * math.sin(math.pi / 3.0)])
    rate = 40_000.0

    def length(angle: float) -> float:
        return float(np.hypot(*(top - foot * np.array([math.cos(angle), math.sin(angle)]))))

    def energy(angle: float) -> float:
        return 0.5 * rate * (length(0.0) - length(angle)) ** 2

    step = 1e-4
    ratio = (length(-step) - length(step)) / (2.0 * step * arm)
    by_work = (energy(step) - 2.0 * energy(0.0) + energy(-step)) / (step * arm) ** 2
    assert wheel_rate(rate, ratio) == pytest.approx(by_work, rel=1e-5)
    assert ratio == pytest.approx(foot / arm * math.sin(math.pi / 3.0), rel=1e-6)
