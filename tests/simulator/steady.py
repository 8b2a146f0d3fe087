"""The car at a steady speed in still air on the level: how far each axle sinks, and what bends its downforce.

Sink below standing, positive down, of an axle with downforce area A, wheel rate K_w and ride rate K:

    z = ½ρv²A/K − lift·v²  and at the driven rear axle − s·F·h/(L·K_w),

with the growth of the tyres' loaded radius, the drive force F that holds the speed, and anti-squat s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulator.car import GRAVITY, AxleDraw, CarDraw, SetupDraw
from tests.simulator.scenario import Scenario

REFERENCE_MPS = 22.0
LEAST_SINK_M = 1.5e-3  # an axle that sinks less over the speeds bends as if it sank so far
TURNS = 40


@dataclass(frozen=True, slots=True)
class SteadyCar:
    """A car in a setup at its areas of the reference condition. density: ρ [kg/m³]."""

    car: CarDraw
    setup: SetupDraw
    mass_kg: float
    density: float

    @property
    def squat_m_per_n(self) -> float:
        """How far the rear rises per newton of drive force [m/N]."""
        lever = self.car.cg_height.true / self.car.wheelbase.true
        return self.car.anti_squat.true * lever / self.car.rear.wheel_rate_n_per_m

    def drive_n(self, speed: float) -> float:
        """Force that holds the speed [N]."""
        r, q = self.car.resistance, 0.5 * self.density * speed**2
        load = self.mass_kg * GRAVITY + q * (self.setup.scz_front.true + self.setup.scz_rear.true)
        rolling = (r.c0.true + r.c1.true * speed) * load + r.T0.true + r.T1.true * speed
        return rolling + q * self.setup.scx

    def sinks(self, speed: float) -> tuple[float, float]:
        """Sink of the front and the rear axle at their reference areas [m]."""
        q = 0.5 * self.density * speed**2
        front = _sink(self.car.front, q, self.setup.scz_front.true, speed)
        rear = _sink(self.car.rear, q, self.setup.scz_rear.true, speed)
        return front, rear - self.squat_m_per_n * self.drive_n(speed)


def _sink(axle: AxleDraw, pressure: float, area: float, speed: float) -> float:
    return pressure * area / axle.ride_rate_n_per_m - axle.lift_per_mps2 * speed**2


def bend_per_metre(steady: SteadyCar, scenario: Scenario) -> tuple[float, float]:
    """Relative change of each axle's downforce per metre of sink, front and rear [1/m]."""
    given = 1e3 * scenario.scz_bend_per_mm
    if scenario.bend_over_range == 0.0:
        return given, given
    areas = (steady.setup.scz_front.true, steady.setup.scz_rear.true)
    axles = (steady.car.front, steady.car.rear)
    found = [
        _over_range(axle, area, sink, steady.density, scenario)
        for axle, area, sink in zip(axles, areas, steady.sinks(REFERENCE_MPS), strict=True)
    ]
    return given + found[0], given + found[1]


def _over_range(axle: AxleDraw, area: float, sink: float, density: float, scenario: Scenario) -> float:
    """The bend [1/m] that makes (A(v_high) − A(v_low))/A_reference what is asked, both in still air."""
    wanted, (high, low) = scenario.bend_over_range, scenario.speeds_mps
    pressure = 0.5 * density * np.array([high, low]) ** 2
    deep, shallow = (_sink(axle, q, area, v) for q, v in zip(pressure, (high, low), strict=True))
    bend = wanted / max(deep - shallow, LEAST_SINK_M)
    if deep - shallow <= LEAST_SINK_M:
        return float(bend)
    for _ in range(TURNS):
        fast, slow = (
            bent_area(axle, area, bend, sink=sink, density=density, speed=v) for v in (high, low)
        )
        bend *= wanted / ((fast - slow) / area)
    return float(bend)


def bent_area(
    axle: AxleDraw, area: float, bend: float, *, sink: float, density: float, speed: float
) -> float:
    """Downforce area at a coasting speed [m²]: A(v) = A·(1 + bend·(z(v) − sink)) solved for A(v)."""
    pressure = 0.5 * density * speed**2
    level = 1.0 - bend * (axle.lift_per_mps2 * speed**2 + sink)
    return area * level / (1.0 - bend * pressure * area / axle.ride_rate_n_per_m)
