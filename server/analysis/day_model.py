"""The linearised model of a day: every used pass as one stretch of the augmented filter.

Coast-downs:

    m_e dv/dt = −[ (c0 (1 + ε_p + A e^(−t/τ) + B t_day) + c1 v)(m g + ½ρU² SCz) + T0 + T1 v
                   + ½ρ SCx (U² + X) + m g (d γ + d Σ waves) ],
    U² = (v + d w_p + g)²,  E[g²] = σ² added in the mean,

linearised in v and the gust g about a smooth measured speed, and in every parameter about a point that is
moved to the last solution (Gauss–Newton). The warm-up is centred, so that c0 is that of the tyres as tested.
d is +1 travelling out, −1 back, 0 where unknown. In a constant-speed pass v follows the measured speed: it tells
axle loads only. Axle loads and ride heights (`load_blocks`) and air speed on the car (`air_speed`) are further rows of
the same filter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.air_speed import air_blocks
from server.analysis.day_grid import DayGrid, Point, path_rate, path_speed, rotating_mass, to_nodes, wave_shapes
from server.analysis.day_priors import SIDE_GUST_SHARE, YAW_GROWTH, Priors
from server.analysis.load_at_axle import bend_shape
from server.analysis.load_blocks import load_blocks, load_context, motion_at_nodes
from server.analysis.load_terms import ENDS, Motion
from server.analysis.observation_rows import sorted_rows, speed_blocks
from server.analysis.pass_data import BLOCK_S
from server.analysis.result import AxleEnd
from server.inference.augmented_filter import Segments
from server.testday.values import Car, FloatArray

GUST_SPEED_MPS = 20.0  # air speed at which the gust time is quoted
GRAVITY = 9.80665  # standard acceleration of free fall, m/s² (ISO 80000-3)


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


def with_gusts(linear: LinearDay, gust_sd_mps: float, exponent: float) -> Segments:
    """The filter's segments with the mean push of gusts of this strength and their time at each air speed."""
    forcing = linear.segments.forcing.copy()
    forcing[:, 0] += linear.gust_push * gust_sd_mps**2
    return replace(linear.segments, forcing=forcing, tau_scale=np.exp(exponent * linear.log_slowness))


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Everything the equation of motion holds at the middles of the steps, (n,) each, SI."""

    value: dict[str, float]
    speed: FloatArray
    air_speed: FloatArray
    half_density: FloatArray
    direction: FloatArray
    way: FloatArray
    setup: np.ndarray
    driver: np.ndarray
    drivers: int
    mass: FloatArray
    mass_e: FloatArray
    scx: FloatArray
    bent: dict[AxleEnd, FloatArray]
    scz: FloatArray
    load: FloatArray
    swell: FloatArray
    rolling: FloatArray
    waves: dict[str, FloatArray]
    slope: FloatArray
    drag: FloatArray
    resistance: FloatArray


def linearise(grid: DayGrid, priors: Priors, setup_names: Sequence[str], point: Point, car: Car) -> LinearDay:
    """The day's model about a point: forcing and observation columns for the filter."""
    at = _state(grid, priors, setup_names, point, car)
    u, m_e = at.air_speed, at.mass_e
    by_air_speed = 2.0 * at.half_density * u * (at.scx + at.rolling * at.scz)  # N per m/s of air speed
    by_speed = by_air_speed + at.value["c1"] * at.load + at.value["t1"]
    a, b = -by_speed / m_e, -by_air_speed / m_e
    own = [b * at.way, -at.value["c0"] * at.load / m_e, *np.zeros((grid.own - 2, len(u)))]
    shared = _shared_columns(priors, _push(grid, setup_names, car, at), m_e)
    forcing = np.column_stack([-at.resistance / m_e - a * at.speed, *shared, *own])
    gust_push = at.scx * (1.0 + SIDE_GUST_SHARE * (1.0 + YAW_GROWTH.value)) + at.rolling * at.scz
    gust_push = -at.half_density * gust_push / m_e
    steady = ~grid.coasting
    drive_by = np.where(steady[:, None], -m_e[:, None] * forcing, 0.0)  # what holds the speed, by every parameter
    drive_by[:, 0] = 0.0
    if steady.any():  # held at speed: the speed follows what was measured
        a[steady] = b[steady] = gust_push[steady] = 0.0
        forcing[steady] = 0.0
        forcing[steady, 0] = path_rate(grid, at.value)[steady]
    # side gusts on a standing cross wind push too: (1 + k) 2 w_y g_y beside 2 U g, as extra gust strength
    side = SIDE_GUST_SHARE * (1.0 + YAW_GROWTH.value) * max(at.value["cross"], 0.0) / (u * u)
    b = b * np.sqrt(1.0 + side)
    blocks, motion = speed_blocks(grid, priors, at.value), None
    blocks += air_blocks(grid, priors, at.value, point)
    if grid.load_kinds:
        thrust = np.where(steady, to_nodes(grid, at.resistance + m_e * forcing[:, 0]), 0.0)
        state = (at.mass, at.half_density, at.slope, thrust, drive_by)
        motion = motion_at_nodes(grid, at.value, point, (a, b, forcing), state)
        shapes = {"grade": at.direction} | {name: at.direction * shape for name, shape in at.waves.items()}
        counts = {"mass_car": np.ones(len(u))}
        counts |= {f"mass_driver_{k}": (at.driver == k).astype(float) for k in range(at.drivers)}
        blocks += load_blocks(grid, priors, setup_names, car, at.value, motion, shapes, counts)
    rows = sorted_rows(grid, blocks)
    segments = Segments(
        start=grid.start,
        step=np.full(len(u), BLOCK_S),
        a=a,
        b=b,
        forcing=forcing,
        tau_scale=np.ones(len(u)),
        **rows.filter_arrays,
    )
    return LinearDay(segments, gust_push, np.log(GUST_SPEED_MPS / np.maximum(u, 2.0)), rows.row_pass, motion)


def _state(grid: DayGrid, priors: Priors, setup_names: Sequence[str], point: Point, car: Car) -> _State:
    value = {p.name: float(point.theta[i]) for i, p in enumerate(priors.parameters)}
    speed, node = path_speed(grid, grid.mid_s, value), grid.of_node
    d, rho = grid.direction[node], grid.density[node]
    way = np.where(d == 0.0, 1.0, d)  # a pass of unknown direction has a wind of its own, against the car
    driver, away = grid.driver_of_pass[node], grid.away_h[node]
    drivers = np.array([value[f"mass_driver_{k}"] for k in range(int(grid.driver_of_pass.max()) + 1)])
    mass = grid.mass[node] + value["mass_car"] + drivers[driver]
    rho = rho * (1.0 + value["pressure"] + value["temperature"] + value["humidity"] + value["air_away"] * away)
    spin = {end: rotating_mass(getattr(car, end)) * (1.0 + value[f"inertia_{end}"]) for end in ENDS}
    setup = np.array(grid.setup_of_pass)[node]
    scx = np.array([value[f"scx:{s}"] for s in setup_names])[setup]
    q, u = 0.5 * rho, speed + way * point.wind[node]
    bent = _bend_factors(grid, setup_names, car, value, u, q)
    areas = {end: np.array([value[f"scz_{end}:{s}"] for s in setup_names])[setup] for end in ENDS}
    scz = areas["front"] * bent["front"] + areas["rear"] * bent["rear"]
    load = mass * GRAVITY + q * u * u * scz
    swell = 1.0 + point.scatter[node] + value["warm"] * grid.warm + value["drift"] * grid.day_h[node]
    rolling = value["c0"] * swell + value["c1"] * speed
    waves = wave_shapes(grid, priors)
    slope = d * (value["grade"] + sum(value[name] * shape for name, shape in waves.items()))
    drag = q * scx * (u * u + value["cross"])
    resistance = rolling * load + value["t0"] + value["t1"] * speed + drag + mass * GRAVITY * slope
    return _State(
        value=value,
        speed=speed,
        air_speed=u,
        half_density=q,
        direction=d,
        way=way,
        setup=setup,
        driver=driver,
        drivers=len(drivers),
        mass=mass,
        mass_e=mass + spin["front"] + spin["rear"],
        scx=scx,
        bent=bent,
        scz=scz,
        load=load,
        swell=swell,
        rolling=rolling,
        waves=waves,
        slope=slope,
        drag=drag,
        resistance=resistance,
    )


def _push(grid: DayGrid, setup_names: Sequence[str], car: Car, at: _State) -> dict[str, FloatArray]:
    """m_e ∂(dv/dt)/∂parameter of every parameter in the equation of motion [N per its unit]."""
    value, load, m_e, u, q = at.value, at.load, at.mass_e, at.air_speed, at.half_density
    day_h, away = grid.day_h[grid.of_node], grid.away_h[grid.of_node]
    push: dict[str, FloatArray] = {
        "c0": -at.swell * load,
        "c1": -at.speed * load,
        "t0": -np.ones_like(at.speed),
        "t1": -at.speed,
        "grade": -at.mass * GRAVITY * at.direction,
        "cross": -q * at.scx,
        "warm": -value["c0"] * grid.warm * load,
        "drift": -value["c0"] * day_h * load,
        "inertia_front": at.resistance / m_e * rotating_mass(car.front),
        "inertia_rear": at.resistance / m_e * rotating_mass(car.rear),
    }
    by_mass = -(at.rolling + at.slope) * GRAVITY + at.resistance / m_e
    push["mass_car"] = by_mass
    for k in range(at.drivers):
        push[f"mass_driver_{k}"] = np.where(at.driver == k, by_mass, 0.0)
    by_density = -(at.rolling * (load - at.mass * GRAVITY) + at.drag) * grid.density[grid.of_node] / (2.0 * q)
    push["pressure"] = push["temperature"] = push["humidity"] = by_density
    push["air_away"] = by_density * away
    for i, s in enumerate(setup_names):
        here = at.setup == i
        push[f"scx:{s}"] = np.where(here, -q * (u * u + value["cross"]), 0.0)
        for end in ENDS:
            push[f"scz_{end}:{s}"] = np.where(here, -at.rolling * q * u * u * at.bent[end], 0.0)
    for name, shape in at.waves.items():
        push[name] = -at.mass * GRAVITY * at.direction * shape
    return push


def _bend_factors(  # noqa: PLR0917
    grid: DayGrid, names: Sequence[str], car: Car, value: dict[str, float], u: FloatArray, q: FloatArray
) -> dict[AxleEnd, FloatArray]:
    """1 + B ξ of both axles, for what the tyres carry: from the steady load, the transfer left out."""
    if not any(value.get(f"bend_{end}:{s}") for end in ENDS for s in names):
        return {end: np.ones(len(u)) for end in ENDS}
    setup, still = np.array(grid.setup_of_pass)[grid.of_node], np.zeros(len(u))
    nothing = np.zeros((len(u), 1))
    motion = Motion(u, u, q, still, still, nothing, still, still, still, nothing, still, still + 1.0, still)
    context = load_context(grid, names, car)
    factors: dict[AxleEnd, FloatArray] = {}
    for end in ENDS:
        bend = np.array([value.get(f"bend_{end}:{s}", 0.0) for s in names])[setup]
        factors[end] = 1.0 + bend * bend_shape(motion, setup, context, end, value)[0]
    return factors


def _shared_columns(priors: Priors, push: dict[str, FloatArray], m_e: FloatArray) -> list[FloatArray]:
    """Acceleration per unit of prior u of every shared parameter [m/s²]; none for those of the sensors."""
    return [push.get(q.name, np.zeros_like(m_e)) / m_e * q.u for q in priors.parameters]
