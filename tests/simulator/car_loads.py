"""What a car with axle load sensors has besides: anti-squat, push rods, growing tyres, sensors' places.

Drawn from a stream of its own, so that the same day without such sensors moves alike.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from server.testday.values import Quantity
from tests.simulator.car import WHEEL_RATE_REL_U, AxleDraw, CarDraw
from tests.simulator.scenario import Scenario
from tests.simulator.stated import Drawer, Known

SENSOR_PLACE_U_M = 0.01
PUSHROD_REL_U = 0.02
SPRING_PART = 0.9  # of the wheel rate's u; the rest is the gain of two damper sensors
DAMPER_GAIN_U = WHEEL_RATE_REL_U * float(np.sqrt(2.0 * (1.0 - SPRING_PART**2)))
TYRE_DEFAULT = (90e3, 20e3)
ANTI_SQUAT_DEFAULT = (0.15, 0.20)


def with_load_properties(
    rng: np.random.Generator, car: CarDraw, scenario: Scenario, growth_per_mps2: float
) -> CarDraw:
    """The car with all that load sensors meet. growth_per_mps2: of the rolling radius, relative."""
    drawer = Drawer(rng, scenario.fixed_truth)
    if scenario.priors == "given":
        squat = drawer.known(drawer.uniform(0.05, 0.35, 0.2), 0.10, -0.3)
    else:
        squat = drawer.known(*ANTI_SQUAT_DEFAULT, -0.5, "default")
    return replace(
        car,
        anti_squat=squat,
        front=_axle(drawer, car.front, scenario, growth_per_mps2),
        rear=_axle(drawer, car.rear, scenario, growth_per_mps2),
    )


def _axle(drawer: Drawer, axle: AxleDraw, scenario: Scenario, growth_per_mps2: float) -> AxleDraw:
    tyre = drawer.known(*TYRE_DEFAULT, 40e3, "default")
    place = drawer.known(axle.sensor_x.stated.value, SENSOR_PLACE_U_M)
    ratio = drawer.uniform(0.75, 1.30, 1.05)
    rod = drawer.known(ratio, PUSHROD_REL_U * ratio)
    share = float(drawer.rng.uniform(0.3, 1.0))
    return replace(
        axle,
        spring_rate=_nearer(axle.spring_rate, scenario.fixed_truth),
        tyre_rate=axle.tyre_rate if scenario.priors == "given" else tyre,
        sensor_x=place,
        pushrod_ratio=rod,
        lift_per_mps2=share * growth_per_mps2 * axle.radius.true,
    )


def _nearer(spring: Known, fixed_truth: bool) -> Known:
    """The spring rate with SPRING_PART of its error."""
    error = SPRING_PART * (spring.true - spring.stated.value)
    if fixed_truth:
        return Known(Quantity(spring.true - error, spring.stated.u, spring.stated.source), spring.true)
    return Known(spring.stated, spring.stated.value + error)
