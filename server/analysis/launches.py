"""Launches of a rear-driven car weigh its load transfer: the front axle has no drive and no brake on it then.

    P = zero of the launch + SCz_front q − S dv/dt − D d²v/dt² + λ (largest P so far − P) + gusts + noise
    S = (m h + ΣJ/r)/L  [kg], in units of the entered wheel rate

Joint friction holds the springs back one way while the load falls, the other way while it rises. A launch
lightens the front axle first; from where its downforce has lifted the load by more than friction can hold until
some tenths of a second after the lift of the throttle the load only rises, and what friction holds is part of
that launch's own zero. Acceleration falls by its whole amount there, at one speed. Whether the springs stay at the
highest load then reached, held by friction, or fall with it is λ, 0 to 1. D is how late the springs are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from server.analysis.axle_spring import wheel_of_damper
from server.analysis.intervals import inside
from server.analysis.suspension_sensors import PUSHROD_RATIO, CarLoads, car_loads
from server.analysis.suspension_trace import KERNEL_S, STEP_S, DriveTrace, drive_trace
from server.testday.values import Day, FloatArray

BEFORE_S = 2.0
LEAST_BEFORE_S = 0.8
AFTER_S = 0.8
LEAST_LAUNCH_MPS2 = 2.0
LEAST_STEP_MPS2 = 2.0
HELD = (0.5, 0.3)  # λ: anything from 0 to 1
LATE_S = 0.1  # scale of D over S
FEWEST = 2
RADIUS_REL_U = 0.01
GUST_TIMES_S = (0.5, 1.5, 5.0)
PRESSURE_PA = 100.0


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


@dataclass(frozen=True, slots=True, eq=False)
class Launch:
    """One launch from where its load rises for good until after the lift, arrays (n,): load of the front axle
    [N] off an arbitrary zero, ½ρv² [Pa], dv/dt [m/s²], its change [m/s³]. setup: of its run."""

    setup: str
    load_n: FloatArray
    pressure_pa: FloatArray
    accel_mps2: FloatArray
    jerk_mps3: FloatArray


def launch_transfer(day: Day, left_out: Mapping[int, frozenset[str]] | None = None) -> LaunchTransfer | None:
    """Measure S in all launches of a day; None where the front axle is driven or fewer than two launches tell.

    day: prepared; left_out: run → roles that must not be used (see `check_suspension`).
    Source of the equation: `server.aero.axle_loads`; of the friction: `server.aero.joints`.
    """
    if day.car.driven != "rear" or not day.runs:
        return None
    drivers = [run.driver_mass_kg.value for run in day.runs]
    loads = car_loads(day.car, sum(drivers) / len(drivers))
    found: list[Launch] = []
    unscaled = False
    for run in day.runs:
        trace = drive_trace(run, day.car)
        if trace is None:
            continue
        scale = _speed_scale(trace)
        unscaled |= scale is None
        found += run_launches(trace, loads, (left_out or {}).get(run.number, frozenset()), scale or 1.0)
    if len(found) < FEWEST:
        return None
    slope, u = fit_transfer(found, loads.transfer_kg.value)
    expected = loads.transfer_kg
    u = float(np.hypot(u, slope * RADIUS_REL_U)) if unscaled else u
    return LaunchTransfer(slope, u, expected.value, expected.u, len(found))


def run_launches(trace: DriveTrace, loads: CarLoads, left_out: frozenset[str], scale: float = 1.0) -> list[Launch]:
    """The launches of a run that end in a lift. scale: true over logged speed."""
    load = front_load(trace, loads, left_out)
    if load is None:
        return []
    a, q = trace.accel_mps2 * scale, trace.pressure_pa * scale**2
    jerk = np.gradient(a, STEP_S)
    area = _rough_area(trace, load, a, q, loads.transfer_kg.value)
    predicted = area * q - loads.transfer_kg.value * a
    found = []
    for leg in trace.legs:
        window = _window(np.flatnonzero(trace.leg == leg), a, predicted, _friction(loads))
        if window is None or not np.isfinite(load[window]).all():
            continue
        if inside(trace.time_s[window], trace.turning).any() or trace.braking[window].any():
            continue
        found.append(Launch(trace.run.setup, load[window], q[window], a[window], jerk[window]))
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


def fit_transfer(launches: Sequence[Launch], expected_kg: float) -> tuple[float, float]:
    """S and its standard uncertainty [kg] by generalised least squares over all launches.

    Noise of a launch: the road's, correlated by the smoothing, and gusts, exponential in time; both strengths and
    the gusts' time by restricted likelihood.
    """
    slope = expected_kg
    u = expected_kg
    areas = np.zeros(1)
    for _ in range(3):
        rows, y, blocks = _design(launches, slope, areas)
        slope, u, areas = _generalised(rows, y, blocks)
    return slope, u


def _design(launches: Sequence[Launch], slope: float, areas: FloatArray) -> tuple[FloatArray, FloatArray, list[slice]]:
    """Columns S, D, λ, SCz of each setup, zero of each launch; loads; where each launch stands."""
    setups = sorted({launch.setup for launch in launches})
    parts, loads, blocks, begin = [], [], [], 0
    for k, launch in enumerate(launches):
        n, place = len(launch.load_n), setups.index(launch.setup)
        rows = np.zeros((n, 3 + len(setups) + len(launches)))
        area = areas[place] if len(areas) == len(setups) else 0.0
        predicted = area * launch.pressure_pa / PRESSURE_PA - slope * launch.accel_mps2
        rows[:, 0] = -launch.accel_mps2
        rows[:, 1] = -launch.jerk_mps3 * LATE_S
        rows[:, 2] = np.maximum.accumulate(predicted) - predicted
        rows[:, 3 + place] = launch.pressure_pa / PRESSURE_PA
        rows[:, 3 + len(setups) + k] = 1.0
        parts.append(rows)
        loads.append(launch.load_n)
        blocks.append(slice(begin, begin + n))
        begin += n
    return np.vstack(parts), np.concatenate(loads), blocks


def _generalised(rows: FloatArray, y: FloatArray, blocks: Sequence[slice]) -> tuple[float, float, FloatArray]:
    """S, its u, SCz columns by the noise that the residuals show best."""
    prior = np.zeros(rows.shape[1])
    prior[2] = 1.0 / HELD[1] ** 2
    prior[1] = 1.0 / (2.0 * 60.0) ** 2
    aim = np.zeros(rows.shape[1])
    aim[2] = HELD[0] * prior[2]
    white = _smoothing_correlation(max(b.stop - b.start for b in blocks))
    left = y - rows @ np.linalg.lstsq(rows, y, rcond=None)[0]
    start = np.log(max(float(np.std(left)), 1e-3))
    best: tuple[float, FloatArray, FloatArray] | None = None
    for time in GUST_TIMES_S:
        gust = np.exp(-STEP_S * np.arange(len(white)) / time)

        def misfit(log_sd: FloatArray, gust: FloatArray = gust) -> float:
            return _solve(rows, y, blocks, prior, aim, np.exp(2.0 * log_sd), (white, gust))[0]

        found = minimize(misfit, [start, start], method="Nelder-Mead", options={"xatol": 0.05, "fatol": 0.05})
        value, estimate, cov = _solve(rows, y, blocks, prior, aim, np.exp(2.0 * found.x), (white, gust))
        if best is None or value < best[0]:
            best = value, estimate, cov
    if best is None:
        raise ValueError("blocks must not be empty")
    _, estimate, cov = best
    setups = rows.shape[1] - 3 - len(blocks)
    return float(estimate[0]), float(np.sqrt(cov[0, 0])), estimate[3 : 3 + setups]


def _solve(
    rows: FloatArray,
    y: FloatArray,
    blocks: Sequence[slice],
    prior: FloatArray,
    aim: FloatArray,
    variances: FloatArray,
    shapes: tuple[FloatArray, FloatArray],
) -> tuple[float, FloatArray, FloatArray]:
    """−2 log restricted likelihood, estimate, covariance."""
    normal, right, misfit = np.diag(prior) + 1e-9 * np.eye(len(prior)), aim.copy(), 0.0
    for block in blocks:
        n = block.stop - block.start
        lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        cov = variances[0] * shapes[0][lag] + variances[1] * shapes[1][lag] + 1e-2 * np.eye(n)
        factor = cho_factor(cov, lower=True)
        x, z = rows[block], y[block]
        wx = cho_solve(factor, x)
        normal += x.T @ wx
        right += wx.T @ z
        misfit += float(z @ cho_solve(factor, z)) + 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    inverse = np.linalg.inv(normal)
    estimate = inverse @ right
    misfit += float(np.linalg.slogdet(normal)[1]) - float(estimate @ right)
    return misfit, estimate, inverse


def _smoothing_correlation(n: int) -> FloatArray:
    """Autocorrelation of white noise through the trace's parabola, at n lags of STEP_S."""
    half = round(0.5 * KERNEL_S / STEP_S)
    offset = np.arange(-half, half + 1, dtype=np.float64)
    weight = np.cumsum(offset[::-1])
    full = np.correlate(weight, weight, mode="full")[len(weight) - 1 :]
    found = np.zeros(max(n, len(full)))
    found[: len(full)] = full / full[0]
    return found[:n]


def _window(
    leg: NDArray[np.int64], accel: FloatArray, predicted: FloatArray, friction_n: float
) -> NDArray[np.int64] | None:
    """Samples from where the load rises for good to after the lift; None for a drive without a clear launch."""
    a, load = accel[leg], predicted[leg]
    strong = np.flatnonzero(a > LEAST_LAUNCH_MPS2)
    if len(strong) < LEAST_BEFORE_S / STEP_S:
        return None
    lift = int(strong[-1])
    lowest = int(np.argmin(load[: lift + 1]))
    risen = np.flatnonzero(load[lowest : lift + 1] > load[lowest] + 2.0 * friction_n)
    if len(risen) == 0:
        return None
    begin = max(lowest + int(risen[0]), lift - round(BEFORE_S / STEP_S))
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


def _friction(loads: CarLoads) -> float:
    """Joint friction of the front axle as stated [N]."""
    return 2.0 * loads.car.front.joint_friction_n.value


def _speed_scale(trace: DriveTrace) -> float | None:
    """Satellite speed over the trace's speed; None without a satellite speed."""
    satellite = trace.signals.get("gps_speed")
    if satellite is None:
        return None
    at = np.interp(satellite.time_s, trace.time_s, trace.speed_mps)
    fast = (at > 8.0) & (satellite.values > 0.0)
    return float(np.median(satellite.values[fast] / at[fast])) if np.count_nonzero(fast) > 20 else None
