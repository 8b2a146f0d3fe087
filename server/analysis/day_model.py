"""The linearised model of a day: every used pass as one stretch of the augmented filter.

Coast-downs:

    m_e dv/dt = −[ (c0 (1 + ε_p + A e^(−t/τ) + B t_day) + c1 v)(m g + ½ρU² SCz) + T0 + T1 v
                   + ½ρ SCx (U² + X) + m g (d γ + d Σ waves) ],
    U² = (v + d w_p + g)²,  E[g²] = σ² added in the mean,

linearised in v and the gust g about a smooth measured speed, and in every parameter about a point that is
moved to the last solution (Gauss–Newton). The warm-up is centred, so that c0 is that of the tyres as tested.
d is +1 travelling out, −1 back, 0 where unknown. In a constant-speed pass v follows the measured speed: it tells
axle loads only. Axle loads and ride heights (`load_rows`) are further rows of the same filter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.day_priors import SIDE_GUST_SHARE, WARM_UP_S, YAW_GROWTH, Priors
from server.analysis.load_data import AXLE_OF, DayLoads
from server.analysis.load_rows import (
    ENDS,
    FRICTION_COLOUR,
    Columns,
    Linear,
    LoadContext,
    Motion,
    axle_load,
    bend_shape,
    body_drop,
    kinds_of,
    own_count,
    source_rows,
    spring_load,
    through_joints,
    zero_columns,
)
from server.analysis.pass_data import BLOCK_S, SATELLITE, SCALE_SPEED_MPS, WHEEL, PassData
from server.analysis.result import AxleEnd
from server.analysis.weather import DayAir
from server.inference.augmented_filter import Segments
from server.testday.values import Axle, Car, FloatArray, Quantity

GUST_SPEED_MPS = 20.0  # air speed at which the gust time is quoted
GRAVITY = 9.80665  # standard acceleration of free fall, m/s² (ISO 80000-3)
ONLY_PLACES = 25.0  # variance factor of the speeds of a constant-speed pass: they place it, they test nothing


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
    coasting: np.ndarray
    load_kinds: tuple[int, ...]
    loads: DayLoads | None
    reference_speed_mps: float
    reference_density_kgm3: float

    @property
    def own(self) -> int:
        """Columns that each pass has for itself."""
        return own_count(self.load_kinds)


@dataclass(frozen=True, slots=True, eq=False)
class LinearDay:
    """The model linearised at `theta` (shared parameters) and the passes' winds and scatters.

    segments: forcing without the gust-variance term and at a gust time fixed in time; gust_push: coefficient
    of that term [1/m]; log_slowness: log(20 m/s / U), (nodes,); motion: at the nodes, where loads are seen.
    Columns: 0 offset, 1 … p shared (per unit of prior u), then the pass's own wind, scatter, zeros of its load
    sources and drifts of these.
    """

    segments: Segments
    gust_push: FloatArray
    log_slowness: FloatArray
    row_pass: np.ndarray
    motion: Motion | None = None


def build_grid(  # noqa: PLR0917 - the parts of a day
    passes: Sequence[PassData],
    setup_of_pass: Sequence[int],
    drivers: Sequence[Quantity],
    air: DayAir,
    loads: DayLoads | None = None,
    reference_speed_mps: float = 22.0,
) -> DayGrid:
    """Lay the passes end to end. drivers: the day's distinct driver masses."""
    counts = [len(p.time_s) for p in passes]
    of_node = np.repeat(np.arange(len(passes)), counts)
    time = np.concatenate([p.time_s for p in passes])
    mean_clock = float(np.mean([p.clock_s for p in passes]))
    running = np.concatenate([p.since_start_s + p.time_s - p.time_s[0] for p in passes])
    warm = np.exp(-running / WARM_UP_S)
    coasting = np.array([p.of.kind == "coast-down" for p in passes])[of_node]
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
        warm=warm - np.mean(warm[coasting] if coasting.any() else warm),
        day_h=np.array([(p.clock_s - mean_clock) / 3600.0 for p in passes]),
        position_m=position,
        span_m=span,
        coasting=coasting,
        load_kinds=kinds_of([p.loads for p in passes]),
        loads=loads,
        reference_speed_mps=reference_speed_mps,
        reference_density_kgm3=float(np.mean(air.density_kgm3)),
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
    area = {end: np.array([value[f"scz_{end}:{s}"] for s in setup_names])[setup] for end in ENDS}
    scz = area["front"] + area["rear"]

    q = 0.5 * rho
    u = speed + way * point.wind[node]
    bent = {end: np.ones(len(speed)) for end in ENDS}
    if any(value.get(f"bend_{end}:{s}") for end in ENDS for s in setup_names):
        bent = _bend_factors(grid, setup_names, car, value, u, q)
        scz = sum(area[end] * bent[end] for end in ENDS)
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
        for end in ENDS:
            push[f"scz_{end}:{s}"] = np.where(here, -rolling * q * u * u * bent[end], 0.0)
    for name, shape in waves.items():
        push[name] = -mass * GRAVITY * d * shape

    own = [b * way, -value["c0"] * load / m_e, *np.zeros((grid.own - 2, len(speed)))]
    forcing = np.column_stack([f - a * speed, *_shared_columns(priors, push, m_e), *own])
    gust_push = -q * (scx * (1.0 + SIDE_GUST_SHARE * (1.0 + YAW_GROWTH.value)) + rolling * scz) / m_e
    steady = ~grid.coasting
    if steady.any():  # held at speed: the speed follows what was measured
        rate = _path_rate(grid, value)
        a[steady] = b[steady] = gust_push[steady] = 0.0
        forcing[steady] = 0.0
        forcing[steady, 0] = rate[steady]
    b = b * np.sqrt(1.0 + side)
    blocks, motion = _observations(grid, priors, value), None
    if grid.load_kinds:
        motion = _motion_at_nodes(grid, value, point, a, b, forcing, mass, rho, slope)
        motion = replace(motion, drive_n=np.where(steady, _to_nodes(grid, resistance + m_e * forcing[:, 0]), 0.0))
        shapes = {"grade": d} | {name: d * shape for name, shape in waves.items()}
        counts = {"mass_car": np.ones(len(speed))}
        counts |= {f"mass_driver_{k}": (driver == k).astype(float) for k in range(len(drivers))}
        blocks += _load_observations(grid, priors, setup_names, car, value, motion, shapes, counts)
    rows = _sorted_rows(grid, blocks)
    segments = Segments(
        start=grid.start,
        step=np.full(len(speed), BLOCK_S),
        a=a,
        b=b,
        forcing=forcing,
        tau_scale=np.ones(len(speed)),
        **rows.filter_arrays,
    )
    return LinearDay(segments, gust_push, np.log(GUST_SPEED_MPS / np.maximum(u, 2.0)), rows.row_pass, motion)


def _bend_factors(  # noqa: PLR0917
    grid: DayGrid, names: Sequence[str], car: Car, value: dict[str, float], u: FloatArray, q: FloatArray
) -> dict[AxleEnd, FloatArray]:
    """1 + B ξ of both axles, for what the tyres carry: from the steady load, the transfer left out."""
    setup, still = np.array(grid.setup_of_pass)[grid.of_node], np.zeros(len(u))
    motion = Motion(u, u, q, still, still, np.zeros((len(u), 1)), still, still, still, still, still + 1.0)
    context = load_context(grid, names, car)
    factors: dict[AxleEnd, FloatArray] = {}
    for end in ENDS:
        bend = np.array([value.get(f"bend_{end}:{s}", 0.0) for s in names])[setup]
        factors[end] = 1.0 + bend * bend_shape(motion, setup, context, end, value)[0]
    return factors


def _shared_columns(priors: Priors, push: dict[str, FloatArray], m_e: FloatArray) -> list[FloatArray]:
    """Acceleration per unit of prior u of every shared parameter [m/s²]; none for those of the sensors."""
    return [push.get(q.name, np.zeros_like(m_e)) / m_e * q.u for q in priors.parameters]


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    filter_arrays: dict[str, np.ndarray]
    row_pass: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Observations of one sensor in one pass: node, value, what they see, white-noise kind, variance factor."""

    node: np.ndarray
    y: FloatArray
    see: FloatArray
    direct: FloatArray
    kind: int
    weight: FloatArray
    of_pass: int


def _observations(grid: DayGrid, priors: Priors, value: dict[str, float]) -> list[_Block]:
    """Speed observations with what they see of scale and delay."""
    sd, width, colours = priors.u, 1 + len(priors.parameters) + grid.own, colour_count(grid)
    node_speed = _speed(grid, grid.time_s, value)
    blocks = []
    for i, data in enumerate(grid.passes):
        for kind, series in data.series.items():
            node = grid.start[i] + series.node
            speed = node_speed[node]
            rate = _speed_rate(data, value)[series.node]
            direct, see = np.zeros((len(node), width)), np.zeros((len(node), 2 + colours))
            if kind == WHEEL:
                growth = speed**2 / SCALE_SPEED_MPS**2 - 1.0
                see[:, 0] = h = 1.0 + value["scale0"] + value["scale2"] * growth
                direct[:, 0] = (series.lead_s - value["wheel_lag"] / speed) * rate * h
                direct[:, 1 + priors.index("wheel_lag")] = -rate / speed * sd[priors.index("wheel_lag")]
                direct[:, 1 + priors.index("scale0")] = speed * sd[priors.index("scale0")]
                direct[:, 1 + priors.index("scale2")] = speed * growth * sd[priors.index("scale2")]
            else:
                see[:, 0], see[:, 2] = 1.0 + value["satellite"], 1.0
                lag = value["delay"] if WHEEL in data.series else 0.0
                direct[:, 0] = (series.lead_s - lag) * rate
                if WHEEL in data.series:
                    direct[:, 1 + priors.index("delay")] = -rate * sd[priors.index("delay")]
                direct[:, 1 + priors.index("satellite")] = speed * sd[priors.index("satellite")]
            weight = (1.0 if data.of.kind == "coast-down" else ONLY_PLACES) / series.share
            blocks.append(_Block(node, series.value, see, direct, kind, weight, i))
    return blocks


def colour_count(grid: DayGrid) -> int:
    """Coloured errors of the filter: the satellite's, and with loads what the joints of each axle hold back."""
    return 3 if grid.load_kinds else 1


def _load_observations(  # noqa: PLR0917 - the parts of one linearisation
    grid: DayGrid,
    priors: Priors,
    names: Sequence[str],
    car: Car,
    value: dict[str, float],
    motion: Motion,
    shapes: dict[str, FloatArray],
    counts: dict[str, FloatArray],
) -> list[_Block]:
    """Axle loads and ride heights of every pass."""
    context = load_context(grid, names, car)
    columns = load_columns(grid, priors, value)
    setup = np.array(grid.setup_of_pass)[grid.of_node]
    loads = {end: axle_load(motion, setup, context, columns, end, shapes, counts) for end in ENDS}
    springs = {
        end: spring_load(load, motion, context, columns, end, _along(grid, load.value)) for end, load in loads.items()
    }
    parts = [
        slice(int(grid.start[i]), int(grid.start[i + 1]))
        for i, data in enumerate(grid.passes)
        if data.of.kind == "coast-down"
    ]
    springs = {e: through_joints(springs[e], loads[e].value, columns, e, parts, BLOCK_S) for e in ENDS}
    drops = {end: body_drop(loads[end], springs[end], motion, context, columns, end) for end in ENDS}
    blocks = []
    for kind in grid.load_kinds:
        seen, front, rear = source_rows(kind, loads, springs, drops, columns, car)
        seen = zero_columns(seen, kind, columns, grid.time_s - _middles(grid))
        for i, data in enumerate(grid.passes):
            if kind in data.loads:
                blocks.append(_load_block(grid, columns, seen, (front, rear), kind, i))
    return blocks


def _load_block(  # noqa: PLR0917
    grid: DayGrid, columns: Columns, seen: Linear, held: tuple[FloatArray, FloatArray], kind: int, i: int
) -> _Block:
    series = grid.passes[i].loads[kind]
    node = grid.start[i] + series.node
    see = np.zeros((len(node), 2 + colour_count(grid)))
    see[:, 0], see[:, 1] = seen.by_speed[node], seen.by_gust[node]
    for end, hold in zip(ENDS, held, strict=True):
        see[:, 2 + FRICTION_COLOUR[end]] = hold[node]
    direct = seen.by_column[node].copy()
    path = _speed_at(grid, columns.value, node)
    direct[:, 0] = seen.value[node] - seen.by_speed[node] * path
    half = columns.index(f"half_{AXLE_OF[kind]}")
    if series.half and half is not None:
        direct[:, 1 + half] += seen.value[node] * columns.u[half]
    return _Block(node, series.value, see, direct, kind, series.weight, i)


def load_context(grid: DayGrid, names: Sequence[str], car: Car) -> LoadContext:
    """What load rows need of the day."""
    springs = grid.loads.springs if grid.loads is not None else {"front": None, "rear": None}
    return LoadContext(car, springs, tuple(names), grid.reference_speed_mps, grid.reference_density_kgm3)


def load_columns(grid: DayGrid, priors: Priors, value: dict[str, float]) -> Columns:
    """Where the load rows' parameters stand."""
    places = {parameter.name: i for i, parameter in enumerate(priors.parameters)}
    return Columns(priors.u, places.get, grid.load_kinds, value)


def _middles(grid: DayGrid) -> FloatArray:
    middle = np.array([0.5 * (p.time_s[0] + p.time_s[-1]) for p in grid.passes])
    return np.asarray(middle[grid.of_node])


def _along(grid: DayGrid, x: FloatArray) -> FloatArray:
    """Rate of change along each pass [1/s]."""
    rate = np.empty(len(x))
    for first, last in zip(grid.start[:-1], grid.start[1:], strict=True):
        rate[first:last] = np.gradient(x[first:last], BLOCK_S)
    return rate


def _to_nodes(grid: DayGrid, x: FloatArray) -> FloatArray:
    """From the middles of the steps that end at the nodes to the nodes themselves; along the first axis."""
    out = np.empty_like(x)
    for first, last in zip(grid.start[:-1], grid.start[1:], strict=True):
        part = x[first:last]
        out[first : last - 1] = 0.5 * (part[:-1] + part[1:])
        out[last - 1] = 1.5 * part[-1] - 0.5 * part[-2]
    return out


def _motion_at_nodes(  # noqa: PLR0917 - the parts of one linearisation
    grid: DayGrid,
    value: dict[str, float],
    point: Point,
    a: FloatArray,
    b: FloatArray,
    forcing: FloatArray,
    mass: FloatArray,
    rho: FloatArray,
    slope: FloatArray,
) -> Motion:
    node, speed = grid.of_node, _speed(grid, grid.time_s, value)
    way = np.where(grid.direction[node] == 0.0, 1.0, grid.direction[node])
    return Motion(
        speed=speed,
        air_speed=speed + way * point.wind[node],
        half_density=0.5 * rho,
        a=_to_nodes(grid, a),
        b=_to_nodes(grid, b),
        forcing=_to_nodes(grid, forcing),
        mass=mass,
        slope=_to_nodes(grid, slope),
        drive_n=np.zeros(len(speed)),
        way=way,
        relative_density=rho / grid.density[node],
    )


def _path_rate(grid: DayGrid, value: dict[str, float]) -> FloatArray:
    """Rate of the smooth measured speed in the middle of the steps [m/s²]."""
    rate = np.empty(len(grid.time_s))
    for i, data in enumerate(grid.passes):
        part = slice(grid.start[i], grid.start[i + 1])
        factor = 1.0 + (value["scale0"] if WHEEL in data.series else 0.0)
        rate[part] = data.path.deriv()(grid.mid_s[part]) / factor
    return rate


def _speed_at(grid: DayGrid, value: Mapping[str, float], node: np.ndarray) -> FloatArray:
    return _speed(grid, grid.time_s, dict(value))[node]


def _sorted_rows(grid: DayGrid, blocks: Sequence[_Block]) -> _Rows:
    """All observations sorted by node."""
    node = np.concatenate([b.node for b in blocks])
    kinds = np.concatenate([np.full(len(b.node), b.kind) for b in blocks])
    of_pass = np.concatenate([np.full(len(b.node), b.of_pass) for b in blocks])
    order = np.lexsort((kinds, node))
    counts = np.bincount(node.astype(np.int64), minlength=len(grid.time_s))
    arrays: dict[str, np.ndarray] = {
        "row_start": np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        "y": np.concatenate([b.y for b in blocks])[order],
        "see": np.ascontiguousarray(np.vstack([b.see for b in blocks])[order]),
        "direct": np.ascontiguousarray(np.vstack([b.direct for b in blocks])[order]),
        "kind": kinds[order].astype(np.int64),
        "weight": np.concatenate([b.weight for b in blocks])[order],
        "first_speed": _first_speeds(grid, blocks),
    }
    return _Rows(arrays, of_pass[order].astype(np.int64))


def _first_speeds(grid: DayGrid, blocks: Sequence[_Block]) -> FloatArray:
    """The first speed that each pass observed [m/s]."""
    first = np.zeros(len(grid.passes))
    for block in reversed(blocks):
        if block.kind in {WHEEL, SATELLITE}:
            first[block.of_pass] = (block.y[0] - block.direct[0, 0]) / block.see[0, 0]
    return first


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
