"""A known mass on an axle of the standing car tells the axle's wheel rate.

    F = m g share,   K = (F − δ) / z

z: wheel travel, from the dampers or, less surely, from ride heights less the tyres' own; δ: what the joints hold back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.aero.constants import STANDARD_GRAVITY
from server.analysis.axle_loading_sensors import Move, body_sink, damper_travel_change, without_tyres
from server.analysis.axle_spring import AxleSpring
from server.analysis.result import AxleEnd, LoadSource
from server.testday.values import Axle, AxleLoading, Car, Finding, FloatArray, Recording

LEAST_TRAVEL_U = 5.0  # travel over its u, below which it tells nothing


@dataclass(frozen=True, slots=True)
class AxleRate:
    """An axle's rate as its loadings tell it, both corners together.

    rate_n_per_m, u: wheel rate; scale, scale_u: force on the springs over the entered springs' at the same travel
    (None where no spring was entered), the motion ratio being the same in both.
    ride_rate_n_per_m, ride_u: load over the body's sink with the tyres in it (None without ride heights).
    travel_from: the source of the travel; load_n: of the heaviest loading; used: how many loadings.
    """

    axle: AxleEnd
    rate_n_per_m: float
    u: float
    scale: float | None
    scale_u: float | None
    ride_rate_n_per_m: float | None
    ride_u: float | None
    travel_from: LoadSource
    load_n: float
    used: int


@dataclass(frozen=True, slots=True)
class _Reading:
    """One loading. mass_u, friction_u: relative, this loading's own; friction_shared: alike in all of the axle."""

    load_n: float
    spring_n: float  # the load less what the joints hold back
    mass_u: float
    friction_u: float
    friction_shared: float
    travel: Move
    sink: Move | None
    source: LoadSource


def axle_rate(
    loadings: Sequence[AxleLoading], car: Car, end: AxleEnd, spring: AxleSpring | None
) -> tuple[AxleRate | None, list[Finding]]:
    """Combine all loadings of one axle.

    spring: the axle's springs as entered, None where nothing was. Joints hold back up to 2 f on the axle (f of a
    corner, at the wheel): bare they may stand anywhere in between, loaded either there or at their limit; half of
    each gives δ = f with a standard deviation of √3 f, each loading its own.
    Returns None where no loading can be used; findings say why.
    """
    readings, findings = [], []
    for number, loading in enumerate(loadings, start=1):
        if loading.axle != end or loading.recording is None:
            continue
        found = _reading(loading, loading.recording, car)
        if isinstance(found, str):
            text = f"Axle loading {number} ({loading.log.file}, {end} axle) is not used: {found}."
            findings.append(Finding("stand-test-unused", "check", text))
        else:
            readings.append(found)
    if not readings:
        return None, findings
    entered = None if spring is None else np.array([float(spring.force(np.array(r.travel.value))) for r in readings])
    forces = np.array([r.spring_n for r in readings])
    travels = np.array([r.travel.value for r in readings])
    own = np.array([np.hypot(np.hypot(r.mass_u, r.friction_u), r.travel.u / r.travel.value) for r in readings])
    shared = np.array([np.hypot(r.friction_shared, r.travel.shared) for r in readings])
    rate, u = _combined(forces / travels, own, shared)
    scale, scale_u = (None, None) if entered is None else _combined(forces / entered, own, shared)
    ride, ride_u = _ride([(r, r.sink) for r in readings if r.sink is not None])
    return AxleRate(
        end, rate, u, scale, scale_u, ride, ride_u,
        readings[0].source, max(r.load_n for r in readings), len(readings),
    ), findings  # fmt: skip


def _combined(values: FloatArray, own: FloatArray, shared: FloatArray) -> tuple[float, float]:
    """Least-squares mean of values with relative errors of their own and a shared one; value and u."""
    own, shared = own * np.mean(values), shared * np.mean(values)
    weight = np.linalg.inv(np.diag(own**2) + np.outer(shared, shared)).sum(axis=0)
    return float(weight @ values / weight.sum()), float(1.0 / np.sqrt(weight.sum()))


def _ride(readings: Sequence[tuple[_Reading, Move]]) -> tuple[float | None, float | None]:
    """Load over the sink that frictionless joints would allow; they hold back only the springs' part of it."""
    values, own, shared = [], [], []
    for r, sink in readings:
        springs = r.travel.value / sink.value
        values.append(r.load_n / (sink.value + r.travel.value * (r.load_n / r.spring_n - 1.0)))
        own.append(np.linalg.norm([r.mass_u, springs * r.friction_u, sink.u / sink.value]))
        shared.append(np.hypot(springs * r.friction_shared, sink.shared))
    return _combined(np.array(values), np.array(own), np.array(shared)) if readings else (None, None)


def _reading(loading: AxleLoading, recording: Recording, car: Car) -> _Reading | str:
    axle: Axle = getattr(car, loading.axle)
    mass, share, friction = loading.mass_kg, loading.share, axle.joint_friction_n
    load = mass.value * STANDARD_GRAVITY * share.value
    sink = body_sink(loading, recording, car)
    travel: Move | None = damper_travel_change(loading, recording, axle, car.calibration)
    source: LoadSource = "damper"
    if travel is None and sink is not None:
        travel, source = without_tyres(sink, load, axle), "ride height"
    if travel is None:
        return "its log has no damper or ride height of this axle with enough samples in both windows"
    if travel.value < LEAST_TRAVEL_U * travel.u or load <= friction.value:
        return f"the wheels travel {1e3 * travel.value:z.2f} mm under {load:.0f} N, too little or the wrong way"
    spring = load - friction.value
    return _Reading(
        load_n=load,
        spring_n=spring,
        mass_u=float(np.hypot(mass.u / mass.value, share.u / share.value)),
        friction_u=float(np.sqrt(3.0) * np.hypot(friction.value, friction.u) / spring),
        friction_shared=friction.u / spring,
        travel=travel,
        sink=sink,
        source=source,
    )
