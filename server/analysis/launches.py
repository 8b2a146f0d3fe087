"""Launches of a rear-driven car weigh its load transfer: the front axle has no drive and no brake on it then.

    P = zero of the launch + SCz_front q − S dv/dt − δ dP/dt + ε d²P/dt² + what joints hold back + gusts + noise
    S = (m h + ΣJ/r)/L  [kg], in units of the entered wheel rate

Joint friction holds the springs back one way while the load falls, the other way while it rises. A launch
lightens the front axle first; then its downforce lifts the load until the throttle is lifted, acceleration falls by
its whole amount at one speed and the load with the speed thereafter. S and friction are told apart by where the
load turns round: a play of ± f about the predicted load, taken of the sharp launch and smoothed like the readings,
with f from nothing (joints shaken loose) to well above what is stated, weighed by how well each one fits. δ is how
much later the load is logged than the speed: it counts, for at the lift pressure stops rising.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from server.aero.joints import load_through_joints
from server.analysis.axle_spring import wheel_of_damper
from server.analysis.intervals import inside
from server.analysis.suspension_sensors import PUSHROD_RATIO, CarLoads, car_loads
from server.analysis.suspension_trace import KERNEL_S, NOMINAL_DENSITY_KGM3, STEP_S, DriveTrace, drive_trace
from server.testday.values import Day, FloatArray

SETTLED_S = 0.5
LEAST_BEFORE_S = 0.8
AFTER_S = 1.6
LEAST_LAUNCH_MPS2 = 2.0
LEAST_STEP_MPS2 = 2.0
FRICTIONS = 15
MODEL_REL_U = 0.02  # play, lag and lift are not quite as described
FINE = 5
HALF = round(0.5 * KERNEL_S / STEP_S)
ROUGH = 0.3  # of the road's part: untouched by smoothing, so that sharp features are not trusted too far
SHAPE_S = 0.05  # how far the shape of the lift itself is trusted
LATE_S = 0.1  # scale of δ
FEWEST = 2
RADIUS_REL_U = 0.02  # 1 % of the radius, 0.5 % of growth that counts threefold (common practice, no source)
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
    """One launch from where its load is lowest until after the lift, arrays (n,): load of the front axle
    [N] off an arbitrary zero, ½ρv² [Pa], dv/dt [m/s²]. setup: of its run; lift: about where
    the throttle closes."""

    setup: str
    lift: int
    load_n: FloatArray
    pressure_pa: FloatArray
    accel_mps2: FloatArray


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


def fit_transfer(launches: Sequence[Launch], expected_kg: float, most_friction_n: float) -> tuple[float, float]:
    """S and its standard uncertainty [kg] by generalised least squares over all launches.

    Noise of a launch: the road's, correlated by the smoothing, and gusts, exponential in time; both strengths and
    the gusts' time by restricted likelihood. Friction: from 0 to most_friction_n of the axle, weighed by likelihood.
    """
    at = _Solution(0.0, expected_kg, 0.0, np.zeros(len({launch.setup for launch in launches})), _Noise(1.0, 1.0, 1.5))
    frictions = most_friction_n * np.linspace(0.0, 1.0, FRICTIONS) ** 2
    for friction in (0.25 * most_friction_n, None):  # areas first, then play and lateness about what they predict
        likely = friction if friction is not None else _likeliest(launches, at, frictions)
        for _ in range(3):
            at = _best(_problem(launches, at, likely))
    solutions = [_settled(launches, at, float(friction)) for friction in frictions]
    misfit = np.array([each.misfit for each in solutions])
    # what the play does not describe is the same in every launch: they speak of friction with one voice
    weight = np.exp(-0.5 * (misfit - misfit.min()) / len(launches)) * np.gradient(frictions)
    weight /= weight.sum()
    slopes, variances = (np.array([getattr(each, name) for each in solutions]) for name in ("slope", "variance"))
    mean = float(weight @ slopes)
    own = np.sqrt(weight @ (variances + (slopes - mean) ** 2))
    return mean, float(np.hypot(own, MODEL_REL_U * mean))


def _settled(launches: Sequence[Launch], at: _Solution, friction_n: float) -> _Solution:
    """The solution with a known friction, play and lateness about its own prediction."""
    for _ in range(3):
        at = _solve(_problem(launches, at, friction_n), at.noise)
    return at


def _likeliest(launches: Sequence[Launch], at: _Solution, frictions: FloatArray) -> float:
    misfit = [_settled(launches, at, float(friction)).misfit for friction in frictions]
    return float(frictions[int(np.argmin(misfit))])


@dataclass(frozen=True, slots=True)
class _Noise:
    """sd of the road's and of the gusts' part of a load [N], the gusts' time [s]."""

    road_n: float
    gust_n: float
    gust_s: float

    def covariance(self, n: int) -> FloatArray:
        """Of one launch, (n, n)."""
        lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        road = self.road_n**2 * _smoothing_correlation(n)
        gust = self.gust_n**2 * np.exp(-STEP_S * np.arange(n) / self.gust_s)
        return np.asarray((road + gust)[lag] + (ROUGH * self.road_n) ** 2 * np.eye(n))


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """Columns S, δ, ε, SCz of each setup, zero of each launch; loads less what the joints hold; sd of the shape of
    the lift [N]; the launches' rows."""

    rows: FloatArray
    load_n: FloatArray
    shape_n: FloatArray
    blocks: tuple[slice, ...]
    setups: int


@dataclass(frozen=True, slots=True, eq=False)
class _Solution:
    """−2 log restricted likelihood, S, its variance, SCz columns, the noise it was found with."""

    misfit: float
    slope: float
    variance: float
    areas: FloatArray
    noise: _Noise


def _problem(launches: Sequence[Launch], at: _Solution, friction_n: float) -> _Problem:
    setups = sorted({launch.setup for launch in launches})
    parts, loads, shapes, blocks, begin = [], [], [], [], 0
    for k, launch in enumerate(launches):
        n, place = len(launch.load_n), setups.index(launch.setup)
        rows = np.zeros((n, 3 + len(setups) + len(launches)))
        rows[:, 0] = -launch.accel_mps2
        rows[:, 3 + place] = launch.pressure_pa / PRESSURE_PA
        rows[:, 3 + len(setups) + k] = 1.0
        predicted = at.areas[place] * launch.pressure_pa / PRESSURE_PA - at.slope * launch.accel_mps2
        change = np.gradient(predicted, STEP_S)
        rows[:, 1] = -LATE_S * change
        rows[:, 2] = LATE_S**2 * np.gradient(change, STEP_S)
        parts.append(rows)
        shapes.append(SHAPE_S * np.abs(change))
        loads.append(launch.load_n - _held(launch, at.areas[place] / PRESSURE_PA, at.slope, friction_n))
        blocks.append(slice(begin, begin + n))
        begin += n
    return _Problem(np.vstack(parts), np.concatenate(loads), np.concatenate(shapes), tuple(blocks), len(setups))


def _held(launch: Launch, area_m2: float, slope_kg: float, friction_n: float) -> FloatArray:
    """What joints add to a load that has been falling before [N]: +f, −f once it rises, +f once it falls again.

    A play turns round at the very top of the load, which smoothing has cut off: so it is taken of the sharp
    launch and smoothed afterwards.
    """
    accel, pressure = _sharp(launch)
    load = area_m2 * pressure - slope_kg * accel
    falling = np.concatenate([[load[0] + 2.0 * friction_n + 1.0], load])
    held = load_through_joints(falling, 0.5 * friction_n)[1:] - load
    offset = np.arange(-FINE * HALF, FINE * HALF + 1) / (FINE * HALF)
    weight = 1.0 - offset**2
    return np.asarray(np.convolve(held, weight / weight.sum(), mode="valid")[::FINE])


def _sharp(launch: Launch) -> tuple[FloatArray, FloatArray]:
    """dv/dt and ½ρv² as they were before smoothing, FINE times as dense and half a kernel longer at both ends:
    a cubic before the lift, a line after it, a step where speed asks for it."""
    n, a = len(launch.accel_mps2), launch.accel_mps2
    k = np.arange(n, dtype=np.float64)
    before, after = slice(0, max(launch.lift - HALF, 6)), slice(min(launch.lift + 2 * HALF, n - 3), n)
    fine = np.arange(-HALF, n - 1 + HALF + 0.5 / FINE, 1.0 / FINE)
    early = np.polyval(np.polyfit(k[before], a[before], 3), fine)
    late = np.polyval(np.polyfit(k[after], a[after], 1 if n - after.start > 5 else 0), fine)
    step = np.interp(fine, k, a)
    mid = (fine >= before.stop - 1) & (fine <= after.start)
    share = (step[mid] - late[mid]).sum() / max((early[mid] - late[mid]).sum(), 1e-9)
    turn = fine[mid][0] + np.clip(share, 0.0, 1.0) * (fine[mid][-1] - fine[mid][0])
    accel = np.where(fine < turn, early, late)
    speed = np.sqrt(launch.pressure_pa[before.stop // 2] / (0.5 * NOMINAL_DENSITY_KGM3))
    moved = np.cumsum(accel) * STEP_S / FINE
    speed = speed + moved - np.interp(before.stop // 2, fine, moved)
    return accel, np.asarray(0.5 * NOMINAL_DENSITY_KGM3 * speed**2)


def _best(problem: _Problem) -> _Solution:
    """The solution with the likeliest noise."""
    left = problem.load_n - problem.rows @ np.linalg.lstsq(problem.rows, problem.load_n, rcond=None)[0]
    start = np.log(max(float(np.std(left)), 1e-3))
    found = []
    for time in GUST_TIMES_S:

        def misfit(log_sd: FloatArray, time: float = time) -> float:
            return _solve(problem, _Noise(float(np.exp(log_sd[0])), float(np.exp(log_sd[1])), time)).misfit

        least = minimize(misfit, [start, start], method="Nelder-Mead", options={"xatol": 0.05, "fatol": 0.05})
        found.append(_solve(problem, _Noise(float(np.exp(least.x[0])), float(np.exp(least.x[1])), time)))
    return min(found, key=lambda each: each.misfit)


def _solve(problem: _Problem, noise: _Noise) -> _Solution:
    """Generalised least squares."""
    p = problem.rows.shape[1]
    normal, right, misfit = 1e-9 * np.eye(p), np.zeros(p), 0.0
    known = {n: noise.covariance(n) for n in {b.stop - b.start for b in problem.blocks}}
    for block in problem.blocks:
        shape = np.diag(problem.shape_n[block] ** 2 + 1e-4)
        factor = cho_factor(known[block.stop - block.start] + shape, lower=True)
        x, z = problem.rows[block], problem.load_n[block]
        weighted = cho_solve(factor, x)
        normal += x.T @ weighted
        right += weighted.T @ z
        misfit += float(z @ cho_solve(factor, z)) + 2.0 * float(np.sum(np.log(np.diag(factor[0]))))
    inverse = np.linalg.inv(normal)
    estimate = inverse @ right
    misfit += float(np.linalg.slogdet(normal)[1]) - float(estimate @ right)
    areas = estimate[3 : 3 + problem.setups]
    return _Solution(misfit, float(estimate[0]), float(inverse[0, 0]), areas, noise)


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
