"""The fit of load transfer to launches: generalised least squares about a play of joint friction.

    P = zero of the launch + SCz_front q − S dv/dt − δ dP/dt + ε d²P/dt² + what joints hold back + gusts + noise

δ is how much later the load is logged than the speed, ε how much more it is smeared. S and friction are told
apart by where the load turns round: a play of ± f about the predicted load, taken of the sharp launch and smoothed
like the readings, with f from nothing (joints shaken loose) to well above what is stated, weighed by how well each
one fits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from server.aero.joints import load_through_joints
from server.analysis.suspension_trace import KERNEL_S, NOMINAL_DENSITY_KGM3, STEP_S
from server.testday.values import FloatArray

FRICTIONS = 15
MODEL_REL_U = 0.03  # play, lag and lift are not quite as described
FINE = 5
HALF = round(0.5 * KERNEL_S / STEP_S)
ROUGH = 0.3  # of the road's part: untouched by smoothing, so that sharp features are not trusted too far
SHAPE_S = 0.05  # how far the shape of the lift itself is trusted
LATE_S = 0.1  # scale of δ
GUST_TIMES_S = (0.5, 1.5, 5.0)
PRESSURE_PA = 100.0


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
