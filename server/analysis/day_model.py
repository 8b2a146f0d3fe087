"""The linearised model of a day: every used pass as one stretch of the augmented filter.

    m_e dv/dt = −[ (c0 (1 + ε_p + A e^(−t/τ) + B t_day) + c1 v)(m g + ½ρU² SCz) + T0 + T1 v
                   + ½ρ SCx (U² + X) + m g (d γ + d Σ waves) ],
    U² = (v + d w_p + g)²,  E[g²] = σ² added in the mean,

linearised in v and the gust g about a smooth measured speed, and in every parameter about a point that is
moved to the last solution (Gauss–Newton). The warm-up is centred, so that c0 is that of the tyres as tested.
d is +1 travelling out, −1 back, 0 where unknown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_priors import SIDE_GUST_SHARE, WARM_UP_S, YAW_GROWTH, Priors
from server.analysis.pass_data import BLOCK_S, SCALE_SPEED_MPS, WHEEL, PassData
from server.analysis.weather import DayAir
from server.inference.augmented_filter import Segments
from server.testday.values import Axle, Car, FloatArray, Quantity

GUST_SPEED_MPS = 20.0  # air speed at which the gust time is quoted
GRAVITY = 9.80665  # standard acceleration of free fall, m/s² (ISO 80000-3)


@dataclass(frozen=True, slots=True, eq=False)
class DayGrid:
    """What never changes while the model is linearised again: nodes, passes, positions.

    of_node: pass index of every node, (n,); positions from the middle of the visited stretch, (n,), nan where
    a pass logged none; driver_of_pass: index into the day's distinct driver masses; away_h: hours from the
    weather's readings.
    """

    passes: tuple[PassData, ...]
    setup_of_pass: tuple[int, ...]
    of_node: np.ndarray
    time_s: FloatArray
    mid_s: FloatArray
    start: np.ndarray
    density: FloatArray
    mass: FloatArray
    direction: FloatArray
    driver_of_pass: np.ndarray
    away_h: FloatArray
    warm: FloatArray
    day_h: FloatArray
    position_m: FloatArray | None
    span_m: float


@dataclass(frozen=True, slots=True, eq=False)
class LinearDay:
    """The model linearised at `theta` (shared parameters) and the passes' winds and scatters.

    segments: forcing without the gust-variance term and at a gust time fixed in time; gust_push: coefficient
    of that term [1/m]; log_slowness: log(20 m/s / U), (nodes,).
    Columns: 0 offset, 1 … p shared (per unit of prior u), then the pass's own wind and scatter.
    """

    segments: Segments
    gust_push: FloatArray
    log_slowness: FloatArray
    row_pass: np.ndarray


def build_grid(
    passes: Sequence[PassData], setup_of_pass: Sequence[int], drivers: Sequence[Quantity], air: DayAir
) -> DayGrid:
    """Lay the passes end to end. drivers: the day's distinct driver masses."""
    counts = [len(p.time_s) for p in passes]
    of_node = np.repeat(np.arange(len(passes)), counts)
    time = np.concatenate([p.time_s for p in passes])
    mean_clock = float(np.mean([p.clock_s for p in passes]))
    running = np.concatenate([p.since_start_s + p.time_s - p.time_s[0] for p in passes])
    warm = np.exp(-running / WARM_UP_S)
    position, span = None, 0.0
    if any(p.position_m is not None for p in passes):
        joined = np.concatenate(
            [np.full(len(p.time_s), np.nan) if p.position_m is None else p.position_m for p in passes]
        )
        low, high = float(np.nanmin(joined)), float(np.nanmax(joined))
        position, span = joined - 0.5 * (low + high), high - low
    return DayGrid(
        passes=tuple(passes),
        setup_of_pass=tuple(setup_of_pass),
        of_node=of_node,
        time_s=time,
        mid_s=time - 0.5 * BLOCK_S,
        start=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        density=np.array([air.density(p.clock_s) for p in passes]),
        mass=np.array([p.mass_kg for p in passes]),
        direction=np.array([float(p.of.direction) for p in passes]),
        driver_of_pass=np.array([drivers.index(p.driver_mass_kg) for p in passes]),
        away_h=np.array([air.away_h(p.clock_s) for p in passes]),
        warm=warm - np.mean(warm),
        day_h=np.array([(p.clock_s - mean_clock) / 3600.0 for p in passes]),
        position_m=position,
        span_m=span,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """Where the model is linearised: shared parameters (p,), head wind 'out' (n,), scatter (n,)."""

    theta: FloatArray
    wind: FloatArray
    scatter: FloatArray


def rotating_mass(axle: Axle) -> float:
    """What an axle's spin adds to the effective mass [kg]: J/r²."""
    return axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value**2


def with_gusts(linear: LinearDay, gust_sd_mps: float, exponent: float) -> Segments:
    """The filter's segments with the mean push of gusts of this strength and their time at each air speed."""
    forcing = linear.segments.forcing.copy()
    forcing[:, 0] += linear.gust_push * gust_sd_mps**2
    return replace(linear.segments, forcing=forcing, tau_scale=np.exp(exponent * linear.log_slowness))


def linearise(grid: DayGrid, priors: Priors, setup_names: Sequence[str], point: Point, car: Car) -> LinearDay:
    """The day's model about a point: forcing and observation columns for the filter."""
    value = {p.name: float(point.theta[i]) for i, p in enumerate(priors.parameters)}
    speed = _speed(grid, grid.mid_s, value)
    node = grid.of_node
    d, rho, day_h = grid.direction[node], grid.density[node], grid.day_h[node]
    way = np.where(d == 0.0, 1.0, d)  # a pass of unknown direction has a wind of its own, against the car
    driver, away = grid.driver_of_pass[node], grid.away_h[node]
    drivers = np.array([value[f"mass_driver_{k}"] for k in range(int(grid.driver_of_pass.max()) + 1)])
    mass = grid.mass[node] + value["mass_car"] + drivers[driver]
    rho = rho * (1.0 + value["pressure"] + value["temperature"] + value["humidity"] + value["air_away"] * away)
    front, rear = rotating_mass(car.front), rotating_mass(car.rear)
    m_e = mass + front * (1 + value["inertia_front"]) + rear * (1 + value["inertia_rear"])
    setup = np.array(grid.setup_of_pass)[node]
    scx = np.array([value[f"scx:{s}"] for s in setup_names])[setup]
    scz = np.array([value[f"scz_front:{s}"] + value[f"scz_rear:{s}"] for s in setup_names])[setup]

    q = 0.5 * rho
    u = speed + way * point.wind[node]
    load = mass * GRAVITY + q * u * u * scz
    swell = 1.0 + point.scatter[node] + value["warm"] * grid.warm + value["drift"] * day_h
    rolling = value["c0"] * swell + value["c1"] * speed
    waves = _wave_shapes(grid, priors)
    slope = d * (value["grade"] + sum(value[name] * shape for name, shape in waves.items()))
    drag = q * scx * (u * u + value["cross"])
    resistance = rolling * load + value["t0"] + value["t1"] * speed + drag + mass * GRAVITY * slope
    by_air_speed = 2.0 * q * u * (scx + rolling * scz)  # N per m/s of air speed
    by_speed = by_air_speed + value["c1"] * load + value["t1"]
    f, a, b = -resistance / m_e, -by_speed / m_e, -by_air_speed / m_e
    # side gusts on a standing cross wind push too: (1 + k) 2 w_y g_y beside 2 U g, as extra gust strength
    side = SIDE_GUST_SHARE * (1.0 + YAW_GROWTH.value) * max(value["cross"], 0.0) / (u * u)

    push: dict[str, FloatArray] = {
        "c0": -swell * load,
        "c1": -speed * load,
        "t0": -np.ones_like(speed),
        "t1": -speed,
        "grade": -mass * GRAVITY * d,
        "cross": -q * scx,
        "warm": -value["c0"] * grid.warm * load,
        "drift": -value["c0"] * day_h * load,
        "inertia_front": resistance / m_e * front,
        "inertia_rear": resistance / m_e * rear,
    }
    by_mass = -(rolling + slope) * GRAVITY + resistance / m_e
    push["mass_car"] = by_mass
    for k in range(len(drivers)):
        push[f"mass_driver_{k}"] = np.where(driver == k, by_mass, 0.0)
    by_density = -(rolling * (load - mass * GRAVITY) + drag) / (rho / grid.density[node])
    push["pressure"] = push["temperature"] = push["humidity"] = by_density
    push["air_away"] = by_density * away
    for i, s in enumerate(setup_names):
        here = setup == i
        push[f"scx:{s}"] = np.where(here, -q * (u * u + value["cross"]), 0.0)
        push[f"scz_front:{s}"] = push[f"scz_rear:{s}"] = np.where(here, -rolling * q * u * u, 0.0)
    for name, shape in waves.items():
        push[name] = -mass * GRAVITY * d * shape

    own = [b * way, -value["c0"] * load / m_e]
    forcing = np.column_stack([f - a * speed, *_shared_columns(priors, push, m_e), *own])
    gust_push = -q * (scx * (1.0 + SIDE_GUST_SHARE * (1.0 + YAW_GROWTH.value)) + rolling * scz) / m_e
    rows = _observations(grid, priors, value)
    segments = Segments(
        start=grid.start,
        step=np.full(len(speed), BLOCK_S),
        a=a,
        b=b * np.sqrt(1.0 + side),
        forcing=forcing,
        tau_scale=np.ones(len(speed)),
        **rows.filter_arrays,
    )
    return LinearDay(segments, gust_push, np.log(GUST_SPEED_MPS / np.maximum(u, 2.0)), rows.row_pass)


def _shared_columns(priors: Priors, push: dict[str, FloatArray], m_e: FloatArray) -> list[FloatArray]:
    """Acceleration per unit of prior u of every shared parameter [m/s²]; none for those of the sensors."""
    return [push.get(q.name, np.zeros_like(m_e)) / m_e * q.u for q in priors.parameters]


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    filter_arrays: dict[str, np.ndarray]
    row_pass: np.ndarray


def _observations(grid: DayGrid, priors: Priors, value: dict[str, float]) -> _Rows:
    """Speed observations sorted by node, with what they see of scale and delay."""
    sd, width = priors.u, 3 + len(priors.parameters)
    blocks: list[tuple[FloatArray, ...]] = []
    directs = []
    for i, data in enumerate(grid.passes):
        for kind, series in data.series.items():
            node = grid.start[i] + series.node
            speed = _speed(grid, grid.time_s, value)[node]
            rate = _speed_rate(data, value)[series.node]
            direct = np.zeros((len(node), width))
            if kind == WHEEL:
                growth = speed**2 / SCALE_SPEED_MPS**2 - 1.0
                h = 1.0 + value["scale0"] + value["scale2"] * growth
                direct[:, 0] = (series.lead_s - value["wheel_lag"] / speed) * rate * h
                direct[:, 1 + priors.index("wheel_lag")] = -rate / speed * sd[priors.index("wheel_lag")]
                direct[:, 1 + priors.index("scale0")] = speed * sd[priors.index("scale0")]
                direct[:, 1 + priors.index("scale2")] = speed * growth * sd[priors.index("scale2")]
            else:
                h = np.full(len(node), 1.0 + value["satellite"])
                lag = value["delay"] if WHEEL in data.series else 0.0
                direct[:, 0] = (series.lead_s - lag) * rate
                if WHEEL in data.series:
                    direct[:, 1 + priors.index("delay")] = -rate * sd[priors.index("delay")]
                direct[:, 1 + priors.index("satellite")] = speed * sd[priors.index("satellite")]
            n = len(node)
            blocks.append((node, series.value, h, np.full(n, kind), 1.0 / series.share, np.full(n, i)))
            directs.append(direct)
    node, y, h, kinds, weight, of_pass = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
    direct = np.vstack(directs)
    order = np.lexsort((kinds, node))
    counts = np.bincount(node.astype(np.int64), minlength=len(grid.time_s))
    arrays: dict[str, np.ndarray] = {
        "row_start": np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        "y": y[order],
        "h_speed": h[order],
        "h_gust": np.zeros(len(y)),
        "direct": np.ascontiguousarray(direct[order]),
        "kind": kinds[order].astype(np.int64),
        "weight": weight[order],
    }
    return _Rows(arrays, of_pass[order].astype(np.int64))


def _speed(grid: DayGrid, time_s: FloatArray, value: dict[str, float]) -> FloatArray:
    """Smooth true ground speed at given times of all nodes [m/s]."""
    speed = np.empty(len(time_s))
    for i, data in enumerate(grid.passes):
        part = slice(grid.start[i], grid.start[i + 1])
        raw = data.path(time_s[part])
        if WHEEL in data.series:
            growth = raw**2 / SCALE_SPEED_MPS**2 - 1.0
            raw = raw / (1.0 + value["scale0"] + value["scale2"] * growth)
        else:
            raw = raw / (1.0 + value["satellite"])
        speed[part] = np.maximum(raw, 0.5)
    return speed


def _speed_rate(data: PassData, value: dict[str, float]) -> FloatArray:
    factor = 1.0 + (value["scale0"] if WHEEL in data.series else 0.0)
    return np.asarray(data.path.deriv()(data.time_s) / factor)


def _wave_shapes(grid: DayGrid, priors: Priors) -> dict[str, FloatArray]:
    """Undulation of the straight: cosines and sines of the position at the steps' middles, 0 without a position."""
    if grid.position_m is None:
        return {}
    shapes = {}
    for parameter in priors.parameters:
        if parameter.name.startswith("wave_"):
            _, part, order = parameter.name.split("_")
            phase = 2.0 * np.pi * int(order) * grid.position_m / (1.15 * grid.span_m)
            shapes[parameter.name] = np.nan_to_num(np.cos(phase) if part == "cos" else np.sin(phase))
    return shapes
