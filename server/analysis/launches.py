"""Launches of a rear-driven car weigh its load transfer: the front axle has no drive and no brake on it then.

    P = zero of the launch + SCz_front q − S dv/dt + what joints hold back,   S = (m h + ΣJ/r)/L  [kg]

in units of the entered wheel rate. Joint friction holds the springs back one way while the load falls, the other
way while it rises. A launch lightens the front axle first; then its downforce lifts the load until the throttle is
lifted, acceleration falls by its whole amount at one speed, and the load falls with the speed thereafter. The fit
is in `suspension_launch_fit`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.axle_spring import wheel_of_damper
from server.analysis.intervals import inside
from server.analysis.suspension_launch_fit import Launch, fit_transfer
from server.analysis.suspension_sensors import PUSHROD_RATIO, CarLoads, car_loads
from server.analysis.suspension_trace import STEP_S, DriveTrace, drive_trace
from server.testday.values import Day, FloatArray

SETTLED_S = 0.5
LEAST_BEFORE_S = 0.8
AFTER_S = 1.6
LEAST_LAUNCH_MPS2 = 2.0
LEAST_STEP_MPS2 = 2.0
FEWEST = 2
RADIUS_REL_U = 0.02  # 1 % of the radius, 0.5 % of growth that counts threefold (common practice, no source)


@dataclass(frozen=True, slots=True)
class LaunchTransfer:
    """Load that leaves the front axle per dv/dt [kg], measured in `launches` launches, and as entered.

    slope_kg, u_kg: in units of the entered wheel rate, whose own u is not in it; expected_kg, expected_u_kg:
    (m h + ΣJ/r)/L of the car's entries, the mean driver aboard.
    """

    slope_kg: float
    u_kg: float
    expected_kg: float
    expected_u_kg: float
    launches: int


def launch_transfer(day: Day, left_out: Mapping[int, frozenset[str]] | None = None) -> LaunchTransfer | None:
    """Measure S in all launches of a day; None where the front axle is driven or fewer than two launches tell.

    day: prepared; left_out: run → roles that must not be used (see `check_suspension`).
    Source of the equation: `server.aero.axle_loads`; of the friction: `server.aero.joints`.
    """
    if day.car.driven != "rear" or not day.runs:
        return None
    drivers = [run.driver_mass_kg.value for run in day.runs]
    loads = car_loads(day.car, sum(drivers) / len(drivers))
    traces = [trace for run in day.runs if (trace := drive_trace(run, day.car)) is not None]
    scale = speed_scale(traces)
    found: list[Launch] = []
    for trace in traces:
        found += run_launches(trace, loads, (left_out or {}).get(trace.run.number, frozenset()), scale or (1.0, 0.0))
    if len(found) < FEWEST:
        return None
    slope, u = fit_transfer(found, loads.transfer_kg.value, _friction(loads, 2.0))
    expected = loads.transfer_kg
    u = float(np.hypot(u, slope * RADIUS_REL_U)) if scale is None else u
    return LaunchTransfer(slope, u, expected.value, expected.u, len(found))


def run_launches(
    trace: DriveTrace, loads: CarLoads, left_out: frozenset[str], scale: tuple[float, float]
) -> list[Launch]:
    """The launches of a run that end in a lift. scale: k0, k2 of `speed_scale`."""
    load = front_load(trace, loads, left_out)
    if load is None:
        return []
    square = trace.speed_mps**2
    a = trace.accel_mps2 * (scale[0] + 3.0 * scale[1] * square)
    q = trace.pressure_pa * (scale[0] + scale[1] * square) ** 2
    area = _rough_area(trace, load, a, q, loads.transfer_kg.value)
    predicted = area * q - loads.transfer_kg.value * a
    found = []
    for leg in trace.legs:
        window = _window(np.flatnonzero(trace.leg == leg), a, predicted, _friction(loads))
        if window is None or not np.isfinite(load[window]).all():
            continue
        if inside(trace.time_s[window], trace.turning).any() or trace.braking[window].any():
            continue
        lift = len(window) - 1 - round(AFTER_S / STEP_S)
        found.append(Launch(trace.run.setup, lift, load[window], q[window], a[window]))
    return found


def front_load(trace: DriveTrace, loads: CarLoads, left_out: frozenset[str]) -> FloatArray | None:
    """Front axle load [N] on the trace's grid, off an arbitrary zero: by dampers, else by push rods."""
    axle, spring = loads.car.front, loads.springs["front"]
    for source in ("damper", "push rod"):
        roles = [s.role for s in trace.sensors if (s.source, s.axle) == (source, "front") and s.role not in left_out]
        if not roles or (source == "damper" and spring is None):
            continue
        mean = np.mean([trace.readings[role] for role in roles], axis=0)
        level = mean[(trace.leg < 0) & np.isfinite(mean)]
        mean = mean - (np.median(level) if len(level) else np.nanmedian(mean))
        if source == "push rod":
            return np.asarray(2.0 * (axle.pushrod_ratio or PUSHROD_RATIO).value * mean)
        if spring is not None:
            return spring.force(wheel_of_damper(axle, mean))
    return None


def _window(
    leg: NDArray[np.int64], accel: FloatArray, predicted: FloatArray, friction_n: float
) -> NDArray[np.int64] | None:
    """Samples from soon after the lowest load to after the lift; None for a drive without a clear launch."""
    a, load = accel[leg], predicted[leg]
    strong = np.flatnonzero(a > LEAST_LAUNCH_MPS2)
    if len(strong) < LEAST_BEFORE_S / STEP_S:
        return None
    lift = int(strong[-1])
    lowest = int(np.argmin(load[: lift + 1]))
    if load[: lift + 1].max() < load[lowest] + 2.0 * friction_n:
        return None
    begin = lowest + round(SETTLED_S / STEP_S)
    end = lift + round(AFTER_S / STEP_S)
    if lift - begin < LEAST_BEFORE_S / STEP_S or end >= len(leg):
        return None
    if float(a[lift]) - float(a[end]) < LEAST_STEP_MPS2:
        return None
    return leg[begin : end + 1]


def _rough_area(trace: DriveTrace, load: FloatArray, a: FloatArray, q: FloatArray, transfer_kg: float) -> float:
    """SCz of the front axle, about, from the whole run with the expected transfer."""
    use = trace.calm & np.isfinite(load) & ~trace.braking
    if np.count_nonzero(use) < 20:
        return 0.0
    y, x = load[use] + transfer_kg * a[use], q[use]
    x, y = x - x.mean(), y - y.mean()
    return float(x @ y / (x @ x)) if float(x @ x) > 0.0 else 0.0


def _friction(loads: CarLoads, times_u: float = 0.0) -> float:
    """Joint friction of the front axle, so many u above what is stated [N]."""
    given = loads.car.front.joint_friction_n
    return 2.0 * (given.value + times_u * given.u)


def speed_scale(traces: Sequence[DriveTrace]) -> tuple[float, float] | None:
    """k0, k2 of true speed = k0 v + k2 v³ for a trace's speed v, by satellite: growth of the rolling radius counts
    threefold in dv/dt. None where no run has both.

        satellite = k0 v + k2 v³ − delay dv/dt
    """
    rows, seen = [], []
    for trace in traces:
        satellite = trace.signals.get("gps_speed")
        if satellite is None or len(satellite.time_s) < 50:
            continue
        v, a = (np.interp(satellite.time_s, trace.time_s, x) for x in (trace.speed_mps, trace.accel_mps2))
        calm = np.interp(satellite.time_s, trace.time_s, (trace.calm & ~trace.braking).astype(float)) == 1.0
        use = calm & (v > 5.0) & np.isfinite(satellite.values)
        rows.append(np.column_stack([v, v**3, a])[use])
        seen.append(satellite.values[use])
    if not rows or sum(len(each) for each in seen) < 100:
        return None
    x, y = np.vstack(rows), np.concatenate(seen)
    size = np.sqrt(np.sum(x**2, axis=0))
    found = np.linalg.lstsq(x / size, y, rcond=None)[0] / size
    return float(found[0]), float(found[1])
