"""A day laid out for its model: passes end to end on nodes 0.2 s apart, their speeds, places and undulation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.day_priors import WARM_UP_S, Priors
from server.analysis.load_data import DayLoads, kinds_of, own_count
from server.analysis.pass_data import BLOCK_S, SCALE_SPEED_MPS, SPEEDOMETER, WHEEL, PassData
from server.analysis.weather import DayAir
from server.testday.values import Axle, FloatArray, Quantity

SHORTEST_WAVE_M = 100.0
MOST_WAVES = 9
WAYS = {"out": 1.0, "back": -1.0}


@dataclass(frozen=True, slots=True, eq=False)
class DayGrid:
    """What never changes while the model is linearised again: nodes, passes, positions.

    of_node: pass index of every node, (n,); positions from the middle of the visited stretch, (n,), nan where
    a pass logged none; where no pass logged any, distances from each pass's own start, told_places False;
    driver_of_pass: index into the day's distinct driver masses; away_h: hours from the
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
    position_m: FloatArray
    span_m: float
    told_places: bool
    coasting: np.ndarray
    load_kinds: tuple[int, ...]
    loads: DayLoads | None
    reference_speed_mps: float
    reference_density_kgm3: float

    @property
    def has_air(self) -> bool:
        """Whether any pass has an air speed that was measured on the car."""
        return any(data.air is not None for data in self.passes)

    @property
    def own(self) -> int:
        """Columns that each pass has for itself."""
        return own_count(self.load_kinds)


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
    position, told_places = _places(passes)
    low, high = float(np.nanmin(position)), float(np.nanmax(position))
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
        position_m=position - 0.5 * (low + high),
        span_m=high - low,
        told_places=told_places,
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


def path_speed(grid: DayGrid, time_s: FloatArray, value: Mapping[str, float]) -> FloatArray:
    """Smooth true ground speed at given times of all nodes [m/s]."""
    speed = np.empty(len(time_s))
    for i, data in enumerate(grid.passes):
        part = slice(grid.start[i], grid.start[i + 1])
        raw = data.path(time_s[part])
        if WHEEL in data.series:
            growth = raw**2 / SCALE_SPEED_MPS**2 - 1.0
            raw = raw / (1.0 + value["scale0"] + value["scale2"] * growth)
        elif SPEEDOMETER in data.series:
            raw = (raw - value["speedometer_offset"]) / value["speedometer_gain"]
        else:
            raw = raw / (1.0 + value["satellite"])
        speed[part] = np.maximum(raw, 0.5)
    return speed


def pass_speed_rate(data: PassData, value: Mapping[str, float]) -> FloatArray:
    """Rate of a pass's smooth speed at its nodes [m/s²]."""
    return np.asarray(data.path.deriv()(data.time_s) / _gain(data, value))


def path_rate(grid: DayGrid, value: Mapping[str, float]) -> FloatArray:
    """Rate of the smooth measured speed in the middle of the steps [m/s²]."""
    rate = np.empty(len(grid.time_s))
    for i, data in enumerate(grid.passes):
        part = slice(grid.start[i], grid.start[i + 1])
        rate[part] = data.path.deriv()(grid.mid_s[part]) / _gain(data, value)
    return rate


def _gain(data: PassData, value: Mapping[str, float]) -> float:
    """Measured over true speed of a pass's leading sensor, growth left out."""
    if SPEEDOMETER in data.series:
        return value["speedometer_gain"]
    return 1.0 + (value["scale0"] if WHEEL in data.series else 0.0)


def middles(grid: DayGrid) -> FloatArray:
    """Middle of every node's pass on the run's clock [s], (n,)."""
    middle = np.array([0.5 * (p.time_s[0] + p.time_s[-1]) for p in grid.passes])
    return np.asarray(middle[grid.of_node])


def along_pass(grid: DayGrid, x: FloatArray) -> FloatArray:
    """Rate of change along each pass [1/s]."""
    rate = np.empty(len(x))
    for first, last in zip(grid.start[:-1], grid.start[1:], strict=True):
        rate[first:last] = np.gradient(x[first:last], BLOCK_S)
    return rate


def to_nodes(grid: DayGrid, x: FloatArray) -> FloatArray:
    """From the middles of the steps that end at the nodes to the nodes themselves; along the first axis."""
    out = np.empty_like(x)
    for first, last in zip(grid.start[:-1], grid.start[1:], strict=True):
        part = x[first:last]
        out[first : last - 1] = 0.5 * (part[:-1] + part[1:])
        out[last - 1] = 1.5 * part[-1] - 0.5 * part[-2]
    return out


def wave_shapes(grid: DayGrid, priors: Priors) -> dict[str, FloatArray]:
    """Undulation of the straight: cosines and sines of the position at the steps' middles, 0 where it is unknown.

    Without logged positions each way has an undulation of its own, over the distance from the passes' start:
    passes that start at the same place meet the same bumps at the same speeds, which no number of them averages out.
    """
    shapes = {}
    for parameter in priors.parameters:
        if parameter.name.startswith("wave_"):
            _, part, order, *way = parameter.name.split("_")
            phase = 2.0 * np.pi * int(order) * grid.position_m / (1.15 * grid.span_m)
            shape = np.nan_to_num(np.cos(phase) if part == "cos" else np.sin(phase))
            shapes[parameter.name] = shape * _on_way(grid, *way)
    return shapes


def wave_names(grid: DayGrid) -> list[str]:
    """The undulation's parts: cosines and sines down to waves of 100 m, once for the road or once for each way."""
    count = int(np.clip(grid.span_m / SHORTEST_WAVE_M, 0, MOST_WAVES))
    ways = [""] if grid.told_places else [f"_{way}" for way, sign in WAYS.items() if sign in grid.direction]
    return [f"wave_{part}_{j + 1}{way}" for way in ways for j in range(count) for part in ("cos", "sin")]


def _on_way(grid: DayGrid, way: str = "") -> FloatArray | float:
    """1 at the nodes of passes that go that way, 0 at others; 1 everywhere for the road that both share."""
    return (grid.direction[grid.of_node] == WAYS[way]).astype(np.float64) if way else 1.0


def _places(passes: Sequence[PassData]) -> tuple[FloatArray, bool]:
    """Positions at the nodes, or else distances from the passes' starts; and whether positions were logged."""
    if any(p.position_m is not None for p in passes):
        logged = [np.full(len(p.time_s), np.nan) if p.position_m is None else p.position_m for p in passes]
        return np.concatenate(logged), True
    return np.concatenate([p.path.integ()(p.time_s) - p.path.integ()(p.time_s[0]) for p in passes]), False
