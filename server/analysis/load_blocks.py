"""The day's axle loads and ride heights as blocks of observations, pass by pass."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.analysis.axle_spring import AxleSpring
from server.analysis.day_grid import DayGrid, Point, along_pass, middles, path_speed, to_nodes
from server.analysis.day_priors import Priors
from server.analysis.load_at_axle import axle_load
from server.analysis.load_at_springs import body_drop, by_wheel_clock, spring_load, through_joints
from server.analysis.load_data import AXLE_OF
from server.analysis.load_rows import source_rows, zero_columns
from server.analysis.load_terms import ENDS, FRICTION_COLOUR, Columns, Linear, LoadContext, Motion
from server.analysis.observation_rows import Block, colour_count
from server.analysis.pass_data import BLOCK_S, WHEEL
from server.analysis.result import AxleEnd
from server.testday.values import Car, FloatArray


def load_blocks(  # noqa: PLR0917 - the parts of one linearisation
    grid: DayGrid,
    priors: Priors,
    names: Sequence[str],
    car: Car,
    value: dict[str, float],
    motion: Motion,
    shapes: dict[str, FloatArray],
    counts: dict[str, FloatArray],
) -> list[Block]:
    """Axle loads and ride heights of every pass."""
    context = load_context(grid, names, car)
    columns = load_columns(grid, priors, value)
    setup = np.array(grid.setup_of_pass)[grid.of_node]
    loads = {end: axle_load(motion, setup, context, columns, end, shapes, counts) for end in ENDS}
    rates = {end: along_pass(grid, load.value) for end, load in loads.items()}
    wheel = np.array([float(WHEEL in data.series) for data in grid.passes])[grid.of_node]
    loads = {end: by_wheel_clock(load, columns, rates[end], wheel) for end, load in loads.items()}
    springs = {end: spring_load(load, motion, context, columns, end, rates[end]) for end, load in loads.items()}
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
        seen = zero_columns(seen, kind, columns, grid.time_s - middles(grid))
        for i, data in enumerate(grid.passes):
            if kind in data.loads:
                blocks.append(_load_block(grid, columns, seen, (front, rear), kind, i, motion.speed))
    return blocks


def _load_block(  # noqa: PLR0917
    grid: DayGrid,
    columns: Columns,
    seen: Linear,
    held: tuple[FloatArray, FloatArray],
    kind: int,
    i: int,
    speed_mps: FloatArray,
) -> Block:
    series = grid.passes[i].loads[kind]
    node = grid.start[i] + series.node
    see = np.zeros((len(node), 2 + colour_count(grid)))
    see[:, 0], see[:, 1] = seen.by_speed[node], seen.by_gust[node]
    for end, hold in zip(ENDS, held, strict=True):
        see[:, 2 + FRICTION_COLOUR[end]] = hold[node]
    direct = seen.by_column[node].copy()
    direct[:, 0] = seen.value[node] - seen.by_speed[node] * speed_mps[node]
    half = columns.index(f"half_{AXLE_OF[kind]}")
    if series.half and half is not None:
        direct[:, 1 + half] += seen.value[node] * columns.u[half]
    return Block(node, series.value, see, direct, kind, series.weight, i)


def load_context(grid: DayGrid, names: Sequence[str], car: Car) -> LoadContext:
    """What load rows need of the day."""
    nothing: dict[AxleEnd, AxleSpring | None] = {"front": None, "rear": None}
    springs = grid.loads.springs if grid.loads is not None else nothing
    return LoadContext(car, springs, tuple(names), grid.reference_speed_mps, grid.reference_density_kgm3)


def load_columns(grid: DayGrid, priors: Priors, value: dict[str, float]) -> Columns:
    """Where the load rows' parameters stand."""
    places = {parameter.name: i for i, parameter in enumerate(priors.parameters)}
    return Columns(priors.u, places.get, grid.load_kinds, value)


def motion_at_nodes(
    grid: DayGrid,
    value: dict[str, float],
    point: Point,
    motion: tuple[FloatArray, FloatArray, FloatArray],
    state: tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray],
) -> Motion:
    """The motion at the nodes, from the middles of the steps.

    motion: a, b, forcing of the filter; state: mass [kg], ½ρ [kg/m³], slope, drive force at the nodes [N] and its
    derivatives by every column.
    """
    (a, b, forcing), (mass, half_density, slope, drive, drive_by) = motion, state
    node, speed = grid.of_node, path_speed(grid, grid.time_s, value)
    way = np.where(grid.direction[node] == 0.0, 1.0, grid.direction[node])
    return Motion(
        speed=speed,
        air_speed=speed + way * point.wind[node],
        half_density=half_density,
        a=to_nodes(grid, a),
        b=to_nodes(grid, b),
        forcing=to_nodes(grid, forcing),
        mass=mass,
        slope=to_nodes(grid, slope),
        drive_n=drive,
        drive_by=to_nodes(grid, drive_by),
        way=way,
        relative_density=2.0 * half_density / grid.density[node],
        away_h=grid.away_h[node],
    )
