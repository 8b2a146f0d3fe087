"""How far wheels and body move when a known mass is put on an axle of the standing car."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.aero.suspension import heights_at_axles
from server.analysis.axle_spring import wheel_of_damper
from server.testday.values import Axle, AxleLoading, Calibration, Car, Recording

FEWEST_SAMPLES = 5
PIECES = 8
SETTLED_M = 2e-5  # a suspension comes to rest no better (common practice, no source)
ONE_SIDE_REL_U = 0.05  # one damper for both: springs differ and the mass lies a little to one side
OTHER_AXLE_REL_U = 0.5  # how far the other axle gives way, where its height is not logged


@dataclass(frozen=True, slots=True)
class Move:
    """How far something moved under the mass [m]: u of its own, relative u shared by all loadings."""

    value: float
    u: float
    shared: float


def damper_travel_change(
    loading: AxleLoading, recording: Recording, axle: Axle, calibrations: Mapping[str, Calibration]
) -> Move | None:
    """Wheel travel by the mean of the axle's dampers; None where none has samples in both windows."""
    roles = [f"damper_{loading.axle[0]}{side}" for side in "lr"]
    move = _mean_change(loading, recording, roles, calibrations)
    if move is None:
        return None
    travel, more = wheel_of_damper(axle, np.array([move.value, move.value + move.u]))
    return Move(float(travel), abs(float(more - travel)), move.shared)


def without_tyres(sink: Move, load_n: float, axle: Axle) -> Move:
    """Wheel travel: the body's sink less what both tyres of the axle give way."""
    tyres = load_n / (2.0 * axle.tyre_rate_n_per_m.value)
    travel = sink.value - tyres
    rate_u = axle.tyre_rate_n_per_m.u / axle.tyre_rate_n_per_m.value
    size = max(abs(travel), 1e-9)
    return Move(travel, sink.u, float(np.hypot(tyres * rate_u, sink.shared * sink.value)) / size)


def body_sink(loading: AxleLoading, recording: Recording, car: Car) -> Move | None:
    """How far the body came down over the loaded axle, by the lever rule."""
    moves = {end: _height_drop(loading, recording, end, car.calibration) for end in ("front", "rear")}
    own = moves[loading.axle]
    if own is None:
        return None
    x, base = getattr(car, loading.axle).ride_height_sensor_x_m, car.wheelbase_m.value
    ahead = x.value if loading.axle == "front" else -x.value  # away from the other axle
    front, rear = moves["front"], moves["rear"]
    if front is not None and rear is not None:
        places = (car.front.ride_height_sensor_x_m.value, car.rear.ride_height_sensor_x_m.value)
        over = heights_at_axles(front.value, rear.value, base, *places)
        sink, tilt = float(over[loading.axle == "rear"]), float(over[0] - over[1]) / base
        return Move(sink, own.u, float(np.hypot(own.shared, abs(tilt) * x.u / max(abs(sink), 1e-9))))
    other = (1.0 - loading.share.value) / loading.share.value
    lever = 1.0 + ahead / base * (1.0 - other)
    lever_u = float(np.hypot(x.u / base * (1.0 - other), ahead / base * other * OTHER_AXLE_REL_U))
    return Move(own.value / lever, own.u / lever, float(np.hypot(own.shared, lever_u / lever)))


def _height_drop(
    loading: AxleLoading, recording: Recording, end: str, calibrations: Mapping[str, Calibration]
) -> Move | None:
    sides = _mean_change(loading, recording, [f"ride_height_{end[0]}{side}" for side in "lr"], calibrations)
    whole = _mean_change(loading, recording, [f"ride_height_{end}"], calibrations)
    move = whole if whole is not None else sides
    return None if move is None else Move(-move.value, move.u, move.shared)


def _mean_change(
    loading: AxleLoading, recording: Recording, roles: Sequence[str], calibrations: Mapping[str, Calibration]
) -> Move | None:
    """Mean over the roles logged of loaded less bare; one of two sides alone is known less well."""
    there = [role for role in roles if role in recording.signals]
    changes = [change for role in there if (change := _change(loading, recording, role)) is not None]
    if not changes:
        return None
    value, u = np.mean([c[0] for c in changes]), np.linalg.norm([c[1] for c in changes]) / len(changes)
    gain = max(calibrations.get(role, Calibration()).slope_rel_u for role in there) / np.sqrt(len(changes))
    shared = np.hypot(gain, ONE_SIDE_REL_U if len(changes) < len(roles) else 0.0)
    return Move(float(value), float(np.hypot(u, SETTLED_M)), float(shared))


def _change(loading: AxleLoading, recording: Recording, role: str) -> tuple[float, float] | None:
    signal = recording.signals[role]
    means, variance = [], 0.0
    for start, end in (loading.bare_s, loading.loaded_s):
        inside = (signal.time_s >= start) & (signal.time_s <= end) & np.isfinite(signal.values)
        values = signal.values[inside]
        if len(values) < FEWEST_SAMPLES:
            return None
        pieces = [float(piece.mean()) for piece in np.array_split(values, min(PIECES, len(values)))]
        means.append(float(values.mean()))
        variance += float(np.var(pieces, ddof=1)) / len(pieces)
    return means[1] - means[0], float(np.sqrt(variance))
