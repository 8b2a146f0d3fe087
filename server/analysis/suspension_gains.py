"""Movement of suspension sensors under acceleration against what load transfer and entered rates ask for.

The axle that is not driven tells cleanly in a launch. Brakes act through anti-dive, the engine through
anti-squat: both make a movement smaller, seldom larger, so that there only the larger of the two counts, loosely.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.result import LoadSource
from server.analysis.suspension_response import Response
from server.analysis.suspension_sensors import ENDS, CarLoads, Sensor
from server.testday.values import Driven

FLOOR_REL_U = 0.06  # of a slope, whatever its scatter: joints, timing, gusts that launches share
LINKS_REL_U = 0.30  # anti-dive, anti-squat (common practice, no source)
SURE = 4.0
WRONG = -0.3


@dataclass(frozen=True, slots=True)
class Gain:
    """Movement over expected movement, its u; clean: measured where no link takes a share.

    scatter: the part of u that could turn the sign; worst: the smaller one of what launch and brakes tell;
    pressure_sign: whether dynamic pressure presses (+1) or lifts (−1) by this sensor, 0 where it can't be told.
    """

    sensor: Sensor
    value: float
    u: float
    scatter: float
    clean: bool
    worst: float
    pressure_sign: int

    @property
    def reversed(self) -> bool:
        """Whether it moves the wrong way, beyond doubt."""
        return self.value < WRONG and self.value < -SURE * self.scatter and self.worst < WRONG

    def beyond(self, factor: float) -> bool:
        """Whether the movement is off by more than a factor either way, surely off at all."""
        low = 1.0 / factor if self.clean else 0.6 / factor
        off = self.value > factor or self.value < low
        scale = max(abs(self.value), 0.05)
        return off and abs(self.value - 1.0) > SURE * float(np.hypot(self.u, (0.0 if self.clean else 0.1) * scale))


def gain_of(sensor: Sensor, responses: Sequence[Response], loads: CarLoads) -> Gain | None:
    """One sensor's gain over all its runs; None where nothing tells it."""
    expected = loads.expected(sensor)
    if expected is None or not responses:
        return None
    free = _mean([(r.slope, r.slope_u) for r in responses], expected.per_accel)
    braked = _mean([(r.braked, r.braked_u) for r in responses], expected.per_accel)
    clean = free is not None and driven_by(loads.car.driven, sensor) is False
    told = [
        each
        for each in ((free,) if clean else (free, braked))
        if each is not None and each[1] < 0.5 * max(1.0, abs(each[0]))
    ]
    if not told:
        return None
    value, u = max(told)
    rel_u = np.hypot(expected.per_accel_rel_u, 0.0 if clean else LINKS_REL_U)
    pressure, pressure_u = _mean([(r.pressure, r.pressure_u) for r in responses], expected.per_newton) or (0.0, 1.0)
    return Gain(
        sensor=sensor,
        value=value,
        u=float(np.hypot(u, abs(value) * np.hypot(rel_u, FLOOR_REL_U))),
        scatter=u,
        clean=clean,
        worst=min(v for v, _ in told),
        pressure_sign=int(np.sign(pressure)) if abs(pressure) > SURE * pressure_u else 0,
    )


def driven_by(driven: Driven, sensor: Sensor) -> bool:
    """Whether a sensor's axle is driven."""
    return driven in ("all", sensor.axle)


def exchanged(gains: Mapping[str, Gain]) -> frozenset[LoadSource]:
    """Kinds of sensor that move the wrong way on both axles though pressure presses: front and rear exchanged."""
    found: set[LoadSource] = set()
    for source in {gain.sensor.source for gain in gains.values()}:
        mine = [gain for gain in gains.values() if gain.sensor.source == source]
        ends = [[gain.reversed for gain in mine if gain.sensor.axle == end] for end in ENDS]
        if all(ends) and all(all(end) for end in ends) and sum(gain.pressure_sign for gain in mine) >= 0:
            found.add(source)
    return frozenset(found)


def _mean(pairs: Sequence[tuple[float, float | None]], unit: float) -> tuple[float, float] | None:
    """Weighted mean and u in units of `unit`, with the scatter of the runs where that is larger."""
    known = [(value / unit, u / abs(unit)) for value, u in pairs if u is not None and u > 0.0]
    if not known:
        return None
    value, u = np.array(known).T
    weight = 1.0 / u**2
    mean = float(np.sum(weight * value) / np.sum(weight))
    inner = float(1.0 / np.sqrt(np.sum(weight)))
    outer = float(np.std(value, ddof=1) / np.sqrt(len(value))) if len(value) > 1 else 0.0
    return mean, max(inner, outer)
