"""What the fit says of each pass: its own drag area, its speed with and without gusts, closure, innovations."""

from __future__ import annotations

import numpy as np

from server.analysis.day_grid import rotating_mass
from server.analysis.day_model import with_gusts
from server.analysis.day_noise import filter_noise, gust_exponent
from server.analysis.day_posterior import DayPosterior, point_base
from server.analysis.loads_report import pass_loads
from server.analysis.pass_data import BLOCK_S, SATELLITE, SCALE_SPEED_MPS, SPEEDOMETER, WHEEL, PassData
from server.analysis.result import AxleLoadFit, PassFit
from server.inference.augmented_filter import FilterNoise, Segments
from server.inference.smoother import Smoothed, smooth, transition
from server.testday.values import FloatArray


def pass_fits(posterior: DayPosterior) -> tuple[PassFit, ...]:
    """One PassFit per used pass, in the day's order."""
    problem, grid = posterior.problem, posterior.problem.grid
    noise = filter_noise(posterior.values)
    segments = with_gusts(posterior.linear, noise.gust_sd, gust_exponent(posterior.values))
    forcing = segments.forcing
    deviation = _deviations(posterior)
    smoothed = smooth(segments, noise, deviation)
    mean_forcing = forcing[:, 0] + np.sum(forcing[:, 1:] * deviation, axis=1)
    alone, loads = _alone(posterior), pass_loads(posterior, smoothed, deviation)
    p = len(problem.priors.parameters)
    fits = []
    for i, data in enumerate(grid.passes):
        part = slice(int(grid.start[i]), int(grid.start[i + 1]))
        speed = smoothed.speed[part]
        if data.of.kind != "coast-down":
            fits.append(_steady_fit(posterior, i, smoothed, part, loads[i]))
            continue
        fitted = _without_gusts(segments, noise, mean_forcing, part, float(speed[0]))
        worked, model = _resistances(posterior, smoothed, mean_forcing, part)
        seen = _observed_speed(posterior, i)
        times, innovations = _innovations(posterior, i)
        shown = shown_nodes(data)
        fits.append(
            PassFit(
                of=data.of,
                scx=alone[i][0],
                scx_u=alone[i][1],
                head_wind_mps=float((data.of.direction or 1) * posterior.mode_mean[p + i]),
                time_s=data.time_s[shown],
                speed_mps=seen[shown],
                fitted_mps=fitted[shown],
                smoothed_mps=speed[shown],
                gust_mps=smoothed.gust[part][shown],
                resistance_n=worked if SPEEDOMETER not in data.series else _between_marks(posterior, i, seen[shown]),
                model_resistance_n=model[shown],
                innovation_time_s=times,
                innovations=innovations,
                resistance_scatter=float(posterior.mode_mean[p + len(grid.passes) + i]),
                time_closure=_time_closure(data.time_s, speed, fitted),
                energy_closure=float(np.sum(model * speed) / np.sum(worked * speed)),
                loads=loads[i],
            )
        )
    return tuple(fits)


def _steady_fit(
    posterior: DayPosterior, i: int, smoothed: Smoothed, part: slice, loads: tuple[AxleLoadFit, ...]
) -> PassFit:
    """A constant-speed pass: its loads, speed and wind; no drag area of its own."""
    data, p, none = posterior.problem.grid.passes[i], len(posterior.problem.priors.parameters), np.zeros(0)
    speed = smoothed.speed[part]
    return PassFit(
        of=data.of,
        scx=np.nan,
        scx_u=np.nan,
        head_wind_mps=float((data.of.direction or 1) * posterior.mode_mean[p + i]),
        time_s=data.time_s,
        speed_mps=_observed_speed(posterior, i),
        fitted_mps=speed,
        smoothed_mps=speed,
        gust_mps=smoothed.gust[part],
        resistance_n=none,
        model_resistance_n=none,
        innovation_time_s=none,
        innovations=none,
        loads=loads,
    )


def _deviations(posterior: DayPosterior) -> FloatArray:
    """Deviation of every column from the point of linearisation, for every node, (nodes, p + own)."""
    problem, grid = posterior.problem, posterior.problem.grid
    p, n = len(problem.priors.parameters), len(grid.passes)
    moved = posterior.mode_mean - point_base(problem, posterior.point)
    shared = np.broadcast_to(moved[:p] / problem.priors.u, (len(grid.time_s), p))
    own = moved[p:].reshape(grid.own, n).T[grid.of_node]
    return np.hstack([shared, own])


def _without_gusts(
    segments: Segments, noise: FilterNoise, forcing: FloatArray, part: slice, start_mps: float
) -> FloatArray:
    speed = np.empty(part.stop - part.start)
    speed[0] = start_mps
    for i, k in enumerate(range(part.start + 1, part.stop)):
        move, push, _ = transition(segments, noise, k)
        speed[i + 1] = move[0, 0] * speed[i] + push * forcing[k]
    return speed


def _resistances(
    posterior: DayPosterior, smoothed: Smoothed, forcing: FloatArray, part: slice
) -> tuple[FloatArray, FloatArray]:
    """Effective mass times deceleration [N]: as observed over about 1.4 s, and the model's without gusts."""
    grid, car = posterior.problem.grid, posterior.problem.car
    i = int(grid.of_node[part.start])
    mass = grid.mass[i] + rotating_mass(car.front) + rotating_mass(car.rear)
    speed = smoothed.speed[part]
    half = 3
    padded = np.pad(speed, half, mode="reflect", reflect_type="odd")
    rate = (padded[2 * half :] - padded[: -2 * half]) / (2 * half * BLOCK_S)
    segments = posterior.linear.segments
    model = forcing[part] + segments.a[part] * speed
    return -mass * rate, -mass * model


def _between_marks(posterior: DayPosterior, i: int, speed_mps: FloatArray) -> FloatArray:
    """Effective mass times deceleration from mark to mark [N], for a typed coast-down; none at its ends."""
    grid, car = posterior.problem.grid, posterior.problem.car
    mass = grid.mass[i] + rotating_mass(car.front) + rotating_mass(car.rear)
    data = grid.passes[i]
    force = np.full(len(speed_mps), np.nan)
    if len(speed_mps) > 2:
        force[1:-1] = -mass * np.gradient(speed_mps, data.time_s[shown_nodes(data)])[1:-1]
    return force


def _observed_speed(posterior: DayPosterior, i: int) -> FloatArray:
    """The pass's leading speed at its nodes [m/s], scale taken off, gaps as the smooth path."""
    problem = posterior.problem
    data = problem.grid.passes[i]
    speed = np.asarray(data.path(data.time_s))
    series = data.series[leading_kind(data)] if data.series else None
    if series is not None:
        speed[series.node] = series.value - series.lead_s * data.path.deriv()(data.time_s[series.node])
    if WHEEL in data.series:
        from_prior = posterior.mode_mean
        scale0 = from_prior[problem.priors.index("scale0")]
        scale2 = from_prior[problem.priors.index("scale2")]
        speed = speed / (1.0 + scale0 + scale2 * (speed**2 / SCALE_SPEED_MPS**2 - 1.0))
    if SPEEDOMETER in data.series:
        gain, offset = (problem.priors.index(f"speedometer_{name}") for name in ("gain", "offset"))
        speed = (speed - posterior.mode_mean[offset]) / posterior.mode_mean[gain]
    return speed


def leading_kind(data: PassData) -> int:
    """The sensor that leads a pass: wheels, else the satellite, else a speedometer's marks."""
    return next(kind for kind in (WHEEL, SATELLITE, SPEEDOMETER) if kind in data.series)


def shown_nodes(data: PassData) -> np.ndarray | slice:
    """Nodes that a pass is shown at: all, of a typed coast-down those of its marks, for nothing was seen between."""
    marks = data.series.get(SPEEDOMETER)
    return slice(None) if marks is None else np.unique(marks.node)


def _innovations(posterior: DayPosterior, i: int) -> tuple[FloatArray, FloatArray]:
    """Standardised innovations of the pass's leading speed, with their times."""
    grid, linear = posterior.problem.grid, posterior.linear
    data = grid.passes[i]
    kind = leading_kind(data)
    mine = (linear.row_pass == i) & (linear.segments.kind == kind)
    return data.time_s[data.series[kind].node], posterior.residuals[mine]


def _alone(posterior: DayPosterior) -> list[tuple[float, float]]:
    """SCx of each pass by itself: its own rows, its own wind and scatter free within their priors given
    the other passes, everything shared held at the joint estimate."""
    problem, grid = posterior.problem, posterior.problem.grid
    p, n = len(problem.priors.parameters), len(grid.passes)
    precision = posterior.mode_precision_prior
    pull = precision @ (posterior.mode_mean - posterior.prior_mean)
    answers = []
    for i in range(n):
        if grid.passes[i].of.kind != "coast-down":
            answers.append((float("nan"), float("nan")))
            continue
        name = problem.setup_names[grid.setup_of_pass[i]]
        column = problem.priors.index(f"scx:{name}")
        mine = posterior.linear.row_pass == i
        rows = posterior.rows[mine]
        design = np.column_stack([rows[:, 1 + column] / problem.priors.u[column], rows[:, p + 1 :]])
        information = design.T @ design
        score = design.T @ posterior.residuals[mine]
        places = p + n * np.arange(problem.grid.own) + i
        information[1:, 1:] += precision[np.ix_(places, places)]
        score[1:] += pull[places]
        covariance = np.linalg.inv(information)
        answers.append((float(posterior.mode_mean[column] - (covariance @ score)[0]), float(np.sqrt(covariance[0, 0]))))
    return answers


def _time_closure(time_s: FloatArray, speed: FloatArray, fitted: FloatArray) -> float:
    """Time that the fitted curve takes between the pass's end speeds over the time measured; 1 closes."""
    low = max(float(speed[-1]), float(fitted[-1]))
    measured = np.interp(-low, -np.minimum.accumulate(speed), time_s) - time_s[0]
    model = np.interp(-low, -np.minimum.accumulate(fitted), time_s) - time_s[0]
    return float(model / measured) if measured > 0 else 1.0
