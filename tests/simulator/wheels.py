"""Wheel speed as a toothed ring and a counter see it.

The wheel turns by the true speed over a radius that grows with v²; teeth pass a sensor, their spacing
is uneven once per turn and at random; a counter times whole teeth or counts them within a gate. The logger
multiplies by the radius that the team states: metres per second on the log.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.testday.values import Signal

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WheelSensor:
    """once_per_turn, phase_rad, tooth_scatter: where the teeth really sit [rad]; gate_s: 0 for period timing.

    span: teeth timed by the period counter; tick_s: its clock; radius_m: true, at rest; growth: of the radius
    per (m/s)²; stated_radius_m: what the logger multiplies by.
    """

    teeth: int
    once_per_turn: float
    phase_rad: float
    tooth_scatter: FloatArray
    rate_hz: float
    gate_s: float
    span: int
    tick_s: float
    radius_m: float
    growth: float
    stated_radius_m: float


def draw_wheel_sensors(
    rng: np.random.Generator, radius_m: float, stated_radius_m: float, both_sides: bool
) -> tuple[WheelSensor, ...]:
    """Sensors of the undriven wheels: same electronics, each side with its own ring and ± 0.1 % of radius."""
    teeth, rate = int(rng.integers(24, 61)), float(rng.choice([50.0, 100.0]))
    gate = float(rng.uniform(0.08, 0.2)) if rng.random() < 0.4 else 0.0
    span, tick = int(rng.choice([1, 2, 4, teeth])), float(rng.choice([1e-6, 4e-6, 1e-5]))
    growth = float(rng.uniform(0.0, 0.006)) / 28.0**2
    runout = rng.uniform(0.0005, 0.005, 2)
    sides = (1.0, 1.0) if not both_sides else 1.0 + np.array([1.0, -1.0]) * 0.001 * rng.standard_normal()
    return tuple(
        WheelSensor(
            teeth=teeth,
            once_per_turn=float(runout[k]),
            phase_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
            tooth_scatter=rng.normal(0.0, 3e-4, teeth),
            rate_hz=rate,
            gate_s=gate,
            span=span,
            tick_s=tick,
            radius_m=radius_m * float(sides[k]),
            growth=growth,
            stated_radius_m=stated_radius_m,
        )
        for k in range(2 if both_sides else 1)
    )


def tooth_times(
    sensor: WheelSensor, time_s: FloatArray, speed_mps: FloatArray, slip: FloatArray
) -> FloatArray:
    """When each tooth edge passes [s]: the angle θ = ∫ v(1−slip)/(r(1+g v²)) dt meets the tooth's place."""
    spin = speed_mps * (1.0 - slip) / (sensor.radius_m * (1.0 + sensor.growth * speed_mps**2))
    turned = np.concatenate([[0.0], np.cumsum(0.5 * (spin[1:] + spin[:-1]) * np.diff(time_s))])
    number = np.arange(1, int(turned[-1] * sensor.teeth / (2.0 * np.pi)))
    place = 2.0 * np.pi * number / sensor.teeth
    place += sensor.once_per_turn * np.sin(place + sensor.phase_rad)
    place += sensor.tooth_scatter[number % sensor.teeth]
    # a creep far below a tooth keeps the angle rising while the car stands
    return np.interp(np.sort(place), turned + 1e-9 * np.arange(turned.size), time_s)


def wheel_speed(
    sensor: WheelSensor, time_s: FloatArray, speed_mps: FloatArray, slip: FloatArray, name: str
) -> Signal:
    """The logged wheel speed [m/s] at the sensor's rate."""
    edges = tooth_times(sensor, time_s, speed_mps, slip)
    when = np.arange(time_s[0], time_s[-1], 1.0 / sensor.rate_hz)
    turns = _gated(sensor, edges, when) if sensor.gate_s > 0.0 else _timed(sensor, edges, when)
    return Signal(when, turns * 2.0 * np.pi * sensor.stated_radius_m, name)


def _gated(sensor: WheelSensor, edges: FloatArray, when: FloatArray) -> FloatArray:
    """Whole teeth within the gate that ends now, as turns per second."""
    count = np.searchsorted(edges, when) - np.searchsorted(edges, when - sensor.gate_s)
    return count / (sensor.teeth * sensor.gate_s)


def _timed(sensor: WheelSensor, edges: FloatArray, when: FloatArray) -> FloatArray:
    """The time of the last `span` teeth by a clock of whole ticks; falls once the next tooth is overdue."""
    ticks = np.round(edges / sensor.tick_s) * sensor.tick_s
    last = np.searchsorted(edges, when) - 1
    usable = last >= sensor.span
    k = np.where(usable, last, sensor.span)
    period = np.maximum((ticks[k] - ticks[k - sensor.span]) / sensor.span, sensor.tick_s)
    overdue = when - ticks[k]
    turns = 1.0 / (sensor.teeth * np.maximum(period, overdue))
    return np.where(usable & (overdue < 0.3), turns, 0.0)
