"""Dampers against ride heights of the same axle: is the entered motion ratio the right way up?

    drop of the body = wheel travel (1 + K/(2 K_tyre)) − growth of the tyre,   wheel travel = damper travel / MR

With MR entered upside down (the true one is 1/MR) the springs are K' = K/MR⁴ and the drop over the entered wheel
travel is MR² (1 + K'/(2 K_tyre)).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.aero.suspension import heights_at_axles
from server.analysis.axle_spring import wheel_of_damper
from server.analysis.load_priors import TYRE_GROWTH_M
from server.analysis.result import AxleEnd
from server.analysis.suspension_sensors import ENDS, CarLoads, entered_ratio
from server.analysis.suspension_trace import DriveTrace
from server.testday.values import FloatArray, Quantity

GROWTH_SPEED_MPS = 20.0
LEAST_SWING_M = 0.004
SENSOR_ON_AXLE_M = 0.03
FLOOR_REL_U = 0.02


@dataclass(frozen=True, slots=True)
class RatioCheck:
    """Drop over wheel travel as measured, as the entries have it, and with the motion ratio turned over."""

    axle: AxleEnd
    measured: Quantity
    entered: Quantity
    inverted: Quantity


def ratio_checks(traces: Sequence[DriveTrace], loads: CarLoads, wrong: frozenset[str]) -> list[RatioCheck]:
    """One check for each axle that has usable dampers and ride heights. wrong: roles not to be used."""
    return [check for end in ENDS if (check := _check(traces, loads, end, wrong)) is not None]


def _check(traces: Sequence[DriveTrace], loads: CarLoads, end: AxleEnd, wrong: frozenset[str]) -> RatioCheck | None:
    spring, axle = loads.springs[end], loads.axle(end)
    if spring is None or axle.spring_rate_n_per_m is None or axle.heave_table:
        return None
    slopes, swing = [], 0.0
    for trace in traces:
        pair = _pair(trace, loads, end, wrong)
        if pair is None:
            continue
        travel, drop = pair
        if float(np.ptp(np.percentile(travel, [2.0, 98.0]))) < LEAST_SWING_M:
            continue
        slopes.append(float(travel @ drop / (travel @ travel)))
        swing = max(swing, float(np.std(travel)))
    if not slopes:
        return None
    scatter = float(np.std(slopes, ddof=1) / np.sqrt(len(slopes))) if len(slopes) > 1 else 0.02
    mean = float(np.mean(slopes))
    speeds = np.concatenate([trace.speed_mps[trace.leg >= 0] for trace in traces]) / GROWTH_SPEED_MPS
    grown = TYRE_GROWTH_M.u * float(np.std(speeds**2)) / swing
    measured = Quantity(mean, float(np.sqrt(scatter**2 + grown**2 + (FLOOR_REL_U * mean) ** 2)), "measured")
    ratio = entered_ratio(axle).value
    tyre = axle.tyre_rate_n_per_m
    soft = spring.rate_n_per_m / (2.0 * tyre.value)
    soft_rel_u = float(np.hypot(tyre.u / tyre.value, spring.rel_u))
    other = soft / ratio**4
    return RatioCheck(
        end,
        measured,
        Quantity(1.0 + soft, soft * soft_rel_u),
        Quantity(ratio**2 * (1.0 + other), ratio**2 * other * soft_rel_u),
    )


def _pair(
    trace: DriveTrace, loads: CarLoads, end: AxleEnd, wrong: frozenset[str]
) -> tuple[FloatArray, FloatArray] | None:
    """Wheel travel and drop with the tyre's growth taken off, about the means of each drive."""
    damper = _mean(trace, f"damper_{end[0]}", wrong)
    height = _height(trace, loads, end, wrong)
    if damper is None or height is None:
        return None
    rest = damper[(trace.leg < 0) & np.isfinite(damper)]
    level = float(np.median(rest)) if len(rest) else float(np.nanmedian(damper))
    travel = wheel_of_damper(loads.axle(end), damper - level)
    drop = -height + TYRE_GROWTH_M.value * (trace.speed_mps / GROWTH_SPEED_MPS) ** 2
    use = trace.calm & np.isfinite(travel) & np.isfinite(drop)
    if np.count_nonzero(use) < 40:
        return None
    leg = trace.leg[use]
    count = np.maximum(np.bincount(leg), 1)
    return (
        travel[use] - (np.bincount(leg, travel[use]) / count)[leg],
        drop[use] - (np.bincount(leg, drop[use]) / count)[leg],
    )


def _height(trace: DriveTrace, loads: CarLoads, end: AxleEnd, wrong: frozenset[str]) -> FloatArray | None:
    """Ride height over an axle; by one sensor alone only where it sits on the axle."""
    heights = {each: _ride_height(trace, each, wrong) for each in ENDS}
    front, rear = heights["front"], heights["rear"]
    places = {each: loads.axle(each).ride_height_sensor_x_m.value for each in ENDS}
    if front is not None and rear is not None:
        base = loads.car.wheelbase_m.value
        over = heights_at_axles(front, rear, base, places["front"], places["rear"])
        return over[ENDS.index(end)]
    return heights[end] if abs(places[end]) < SENSOR_ON_AXLE_M else None


def _ride_height(trace: DriveTrace, end: AxleEnd, wrong: frozenset[str]) -> FloatArray | None:
    whole = f"ride_height_{end}"
    if any(s.role == whole for s in trace.sensors) and whole not in wrong:
        return trace.readings[whole]
    return _mean(trace, f"ride_height_{end[0]}", wrong)


def _mean(trace: DriveTrace, stem: str, wrong: frozenset[str]) -> FloatArray | None:
    """Mean of both sides; None where one is missing or must not be used."""
    sides = [s.role for s in trace.sensors if s.role in (f"{stem}l", f"{stem}r") and s.role not in wrong]
    return np.asarray(np.mean([trace.readings[role] for role in sides], axis=0)) if len(sides) == 2 else None
