"""Suspension sensors by role, and what each one should read of a load and of an acceleration.

load of an axle from dv/dt = a:   front −M a, rear +M a,   M = (m h + ΣJ/r)/L
damper       MR/K of the axle's load                        [m]
push rod     1/(2 ratio) of it                              [N]
ride height  −(1/K + 1/(2 K_tyre)) of it over the axle, at the sensor by the lever rule   [m]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.analysis.axle_spring import (
    MOTION_RATIO_DEFAULT,
    PUSHROD_RATIO_DEFAULT,
    AxleSpring,
    axle_springs,
    motion_ratio,
)
from server.analysis.result import AxleEnd, LoadSource
from server.testday.values import Axle, Car, Quantity

STEMS: Mapping[str, LoadSource] = {"damper": "damper", "ride_height": "ride height", "pushrod_load": "push rod"}
ENDS: tuple[AxleEnd, AxleEnd] = ("front", "rear")
SENSOR_REL_U = 0.01  # of a sensor's gain, where nothing better is known (common practice, no source)

Side = Literal["left", "right", "whole"]


@dataclass(frozen=True, slots=True)
class Sensor:
    """A suspension sensor: its role, what it measures, where. side 'whole': one sensor for the axle."""

    role: str
    source: LoadSource
    axle: AxleEnd
    side: Side

    @property
    def partner(self) -> str | None:
        """Role of the other side's sensor."""
        if self.side == "whole":
            return None
        return self.role[:-1] + ("r" if self.side == "left" else "l")

    @property
    def unit_m(self) -> bool:
        """Whether it reads metres, not newtons."""
        return self.source != "push rod"


@dataclass(frozen=True, slots=True)
class Expected:
    """What a sensor reads per newton of its axle's load, per m/s² of dv/dt, and the relative u of each."""

    per_newton: float
    per_newton_rel_u: float
    per_accel: float
    per_accel_rel_u: float


def sensor_of(role: str) -> Sensor | None:
    """The sensor behind a role; None for a role that is no suspension sensor."""
    stem, _, place = role.rpartition("_")
    source = STEMS.get(stem)
    if source is None:
        return None
    if place in ENDS:
        return Sensor(role, source, "front" if place == "front" else "rear", "whole")
    if place not in ("fl", "fr", "rl", "rr"):
        return None
    return Sensor(role, source, "front" if place[0] == "f" else "rear", "left" if place[1] == "l" else "right")


def is_suspension(role: str) -> bool:
    """Whether a role is that of a suspension sensor."""
    return sensor_of(role) is not None


def sensors_of(roles: Iterable[str]) -> tuple[Sensor, ...]:
    """The suspension sensors among roles, in order of their names."""
    return tuple(sensor for role in sorted(roles) if (sensor := sensor_of(role)) is not None)


@dataclass(frozen=True, slots=True, eq=False)
class CarLoads:
    """A car with its driver: what its springs, tyres and masses make of loads. mass_kg: as run."""

    car: Car
    mass_kg: float
    springs: Mapping[AxleEnd, AxleSpring | None]

    def axle(self, end: AxleEnd) -> Axle:
        """One axle's properties."""
        return self.car.front if end == "front" else self.car.rear

    @property
    def transfer_kg(self) -> Quantity:
        """M = (m h + ΣJ/r)/L: load that leaves the front axle per dv/dt [kg]."""
        car = self.car
        spin = sum(a.axle_inertia_kgm2.value / a.tyre_radius_m.value for a in (car.front, car.rear))
        spin_u = float(np.linalg.norm([a.axle_inertia_kgm2.u / a.tyre_radius_m.value for a in (car.front, car.rear)]))
        lever = self.mass_kg * car.cg_height_m.value
        lever_u = np.hypot(self.mass_kg * car.cg_height_m.u, car.mass_kg.u * car.cg_height_m.value)
        base = car.wheelbase_m
        value = (lever + spin) / base.value
        u = np.sqrt((lever_u**2 + spin_u**2) / base.value**2 + (value * base.u / base.value) ** 2)
        return Quantity(value, float(u), car.cg_height_m.source)

    def softness(self, end: AxleEnd, source: LoadSource) -> tuple[float, float] | None:
        """Reading of a source over its axle per newton, positive when pressed, and its relative u."""
        axle, spring = self.axle(end), self.springs[end]
        if source == "push rod":
            ratio = axle.pushrod_ratio or PUSHROD_RATIO_DEFAULT
            return 0.5 / ratio.value, max(ratio.u / ratio.value, SENSOR_REL_U)
        if spring is None:
            return None
        soft = 1.0 / spring.rate_n_per_m
        if source == "damper":
            ratio_here = float(motion_ratio(axle, np.zeros(1))[0])
            return ratio_here * soft, float(np.hypot(spring.rel_u, self._gain_rel_u(end, "damper")))
        tyre = 0.5 / axle.tyre_rate_n_per_m.value
        tyre_u = tyre * axle.tyre_rate_n_per_m.u / axle.tyre_rate_n_per_m.value
        rel_u = np.hypot(soft * spring.rel_u, tyre_u) / (soft + tyre)
        return soft + tyre, float(np.hypot(rel_u, self._gain_rel_u(end, "ride_height")))

    def _gain_rel_u(self, end: AxleEnd, stem: str) -> float:
        found = [c.slope_rel_u for role, c in self.car.calibration.items() if role.startswith(f"{stem}_{end[0]}")]
        return max([SENSOR_REL_U, *found])

    def expected(self, sensor: Sensor) -> Expected | None:
        """What a sensor should read; None where the springs of its axle are not given."""
        soft = self.softness(sensor.axle, sensor.source)
        if soft is None:
            return None
        per_newton, rel_u = soft
        way = -1.0 if sensor.axle == "front" else 1.0
        transfer = self.transfer_kg
        per_accel = way * per_newton * transfer.value
        if sensor.source == "ride height":
            per_newton = -per_newton
            per_accel = -per_accel + self._lever(sensor.axle, transfer.value)
        return Expected(per_newton, rel_u, per_accel, float(np.hypot(rel_u, transfer.u / transfer.value)))

    def _lever(self, end: AxleEnd, transfer_kg: float) -> float:
        """What pitch adds to a ride height because its sensor stands ahead of the axle [m per m/s²]."""
        soft = {each: self.softness(each, "ride height") for each in ENDS}
        if soft["front"] is None or soft["rear"] is None:
            return 0.0
        pitch = (soft["front"][0] + soft["rear"][0]) * transfer_kg / self.car.wheelbase_m.value
        return pitch * self.axle(end).ride_height_sensor_x_m.value

    def friction(self, sensor: Sensor, times_u: float = 0.0) -> float | None:
        """How far joint friction of the whole axle can hold a reading off, either way, in its unit."""
        given, spring = self.axle(sensor.axle).joint_friction_n, self.springs[sensor.axle]
        newtons = 2.0 * (given.value + times_u * given.u)
        if sensor.source == "ride height":  # tyres feel the load itself
            return None if spring is None else newtons / spring.rate_n_per_m
        soft = self.softness(sensor.axle, sensor.source)
        return None if soft is None else newtons * soft[0]

    def least_move(self, sensor: Sensor, wheel_travel_m: float) -> float:
        """A travel at the wheel in a sensor's unit."""
        if sensor.source == "ride height":
            return wheel_travel_m
        axle, spring = self.axle(sensor.axle), self.springs[sensor.axle]
        if sensor.source == "damper":
            return wheel_travel_m * float(motion_ratio(axle, np.zeros(1))[0])
        rate = spring.rate_n_per_m if spring is not None else 60e3
        return 0.5 * rate * wheel_travel_m / (axle.pushrod_ratio or PUSHROD_RATIO_DEFAULT).value


def car_loads(car: Car, driver_kg: float) -> CarLoads:
    """The car with a driver of driver_kg."""
    return CarLoads(car, car.mass_kg.value + driver_kg, axle_springs(car, driver_kg))


def entered_ratio(axle: Axle) -> Quantity:
    """The motion ratio of the standing axle."""
    if axle.motion_ratio_table:
        return Quantity(float(motion_ratio(axle, np.zeros(1))[0]), 0.0)
    return axle.motion_ratio or MOTION_RATIO_DEFAULT
