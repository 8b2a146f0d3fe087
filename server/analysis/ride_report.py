"""What a setup does at a steady speed in still air: downforce, ride heights, rake, wheel loads, from joint samples."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from server.aero.constants import STANDARD_GRAVITY
from server.analysis.day_posterior import DayPosterior
from server.analysis.estimates import estimate
from server.analysis.load_at_axle import bend_load
from server.analysis.load_blocks import load_context
from server.analysis.load_priors import TYRE_GROWTH_M
from server.analysis.load_terms import ENDS, SIDE_OF, LoadContext
from server.analysis.pass_data import SCALE_SPEED_MPS
from server.analysis.result import AtSpeed, AxleEnd, Estimate
from server.testday.values import Axle, FloatArray, Quantity, Setup

SPEEDS_MPS = (8.0, 10.0, 12.0, 15.0, 18.0, 20.0, 22.0, 25.0, 28.0, 30.0, 35.0)
BEYOND = 1.1  # how far past the fastest pass a speed is still told
STATIC_U_M = 3e-4  # of a ride height measured on the standing car (common practice, no source)
Column = Callable[[str], FloatArray]


def at_speeds(posterior: DayPosterior, setup: Setup) -> tuple[AtSpeed, ...]:
    """The setup at round speeds up to a tenth beyond its fastest pass, and at the reference speed."""
    grid = posterior.problem.grid
    fastest = max((d.of.high_mps for d in grid.passes if d.of.setup == setup.name), default=0.0)
    speeds = {v for v in SPEEDS_MPS if v <= BEYOND * fastest} | {grid.reference_speed_mps}
    return tuple(_at_speed(posterior, setup, v) for v in sorted(speeds))


def reference_heights(posterior: DayPosterior, setup: Setup) -> dict[str, FloatArray]:
    """Samples of the ride heights over the axles [m] at the reference condition; none without static heights."""
    speed = posterior.problem.grid.reference_speed_mps
    _, sinks = _loads_and_sinks(posterior, setup, speed)
    static = _static_heights(setup, len(posterior.samples))
    return {f"ride_height_{end}": static[end] - sinks[end] for end in ENDS if end in static and end in sinks}


def _static_heights(setup: Setup, count: int) -> dict[AxleEnd, FloatArray]:
    """Samples of the standing car's ride heights [m], as sure as a hand measures them."""
    given: Mapping[AxleEnd, float | None] = {"front": setup.front_ride_height_m, "rear": setup.rear_ride_height_m}
    rng = np.random.default_rng(13)
    drawn = {end: STATIC_U_M * rng.standard_normal(count) for end in ENDS}
    return {end: height + drawn[end] for end, height in given.items() if height is not None}


def weight_speed(posterior: DayPosterior, name: str) -> FloatArray:
    """Samples of the speed at which downforce equals the weight: v = sqrt(2 m g / (ρ SCz)), SCz that of the
    reference condition [m/s]; nan where there is no downforce."""
    column = _columns(posterior)
    scz = column(f"scz_front:{name}") + column(f"scz_rear:{name}")
    mass, density = _mass(posterior, name), posterior.problem.grid.reference_density_kgm3
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.sqrt(np.where(scz > 0, 2.0 * mass * STANDARD_GRAVITY / (density * scz), np.nan)))


def _at_speed(posterior: DayPosterior, setup: Setup, speed: float) -> AtSpeed:
    loads, sinks = _loads_and_sinks(posterior, setup, speed)
    mass = _mass(posterior, setup.name)
    share = posterior.problem.car.front_weight
    rng = np.random.default_rng(5)
    front_share = share.value + share.u * rng.standard_normal(len(mass))
    weight = {"front": mass * STANDARD_GRAVITY * front_share, "rear": mass * STANDARD_GRAVITY * (1.0 - front_share)}
    static = _static_heights(setup, len(mass))
    heights = {end: static[end] - sinks[end] for end in ENDS if end in static and end in sinks}
    rake = None
    if len(heights) == 2:
        rake = (heights["rear"] - heights["front"]) / posterior.problem.car.wheelbase_m.value

    def told(values: FloatArray | None, unit: str) -> Estimate | None:
        return None if values is None else estimate(values, unit, "measured")

    def load(values: FloatArray) -> Estimate:
        return estimate(values, "N", "measured")

    return AtSpeed(
        speed_mps=speed,
        downforce_front_n=load(loads["front"]),
        downforce_rear_n=load(loads["rear"]),
        downforce_n=load(loads["front"] + loads["rear"]),
        wheel_load_front_n=load(0.5 * (weight["front"] + loads["front"])),
        wheel_load_rear_n=load(0.5 * (weight["rear"] + loads["rear"])),
        sink_front_m=told(sinks.get("front"), "m"),
        sink_rear_m=told(sinks.get("rear"), "m"),
        ride_height_front_m=told(heights.get("front"), "m"),
        ride_height_rear_m=told(heights.get("rear"), "m"),
        rake_rad=told(rake, "rad"),
    )


def _loads_and_sinks(
    posterior: DayPosterior, setup: Setup, speed: float
) -> tuple[dict[AxleEnd, FloatArray], dict[AxleEnd, FloatArray]]:
    """Downforce on each axle [N] and how far the body has come down over it [m], (samples,) each.

    SCz (1 + B ξ) with ξ the sink beyond the reference condition, by fixed point; springs of the driven axle carry
    less by the anti-squat share of the drive force; the tyres' growth lifts the body.
    """
    context = load_context(posterior.problem.grid, posterior.problem.setup_names, posterior.problem.car)
    column, name = _columns(posterior), setup.name
    density = context.reference_density_kgm3
    pressure, reference = 0.5 * density * speed**2, context.reference_pressure_pa
    loads: dict[AxleEnd, FloatArray] = {}
    sinks: dict[AxleEnd, FloatArray] = {}
    for end in ENDS:
        area, bend = column(f"scz_{end}:{name}"), column(f"bend_{end}:{name}")
        load = pressure * area
        for _ in range(12):
            load = pressure * area * (1.0 + bend * (load - reference * area) / bend_load(reference * area))
        loads[end] = load
    drive = _drive_force(posterior, name, speed, loads["front"] + loads["rear"])
    for end in ENDS:
        sink = _sink(context, column, end, loads[end], drive)
        if sink is not None:
            sinks[end] = sink - column("tyre_growth") * (speed / SCALE_SPEED_MPS) ** 2
    return loads, sinks


def _sink(context: LoadContext, column: Column, end: AxleEnd, load: FloatArray, drive: FloatArray) -> FloatArray | None:
    spring, car = context.springs[end], context.car
    if spring is None:
        return None
    carried = load
    if car.driven in {"all", end}:
        share = 0.5 if car.driven == "all" else 1.0
        lift = SIDE_OF[end] * share * drive * car.cg_height_m.value / car.wheelbase_m.value
        carried = load - column("anti_squat") * lift
    axle: Axle = getattr(car, end)
    tyre = 2.0 * axle.tyre_rate_n_per_m.value * (1.0 + column(f"tyre_rate_{end}"))
    return np.asarray(spring.travel(carried) / (1.0 + column(f"rate_{end}")) + load / tyre)


def _drive_force(posterior: DayPosterior, name: str, speed: float, downforce: FloatArray) -> FloatArray:
    """Force that holds the speed on a level straight [N], as in the model of the day."""
    column = _columns(posterior)
    density = posterior.problem.grid.reference_density_kgm3
    drag = 0.5 * density * speed**2 * column(f"scx:{name}")
    rolling = (column("c0") + column("c1") * speed) * (_mass(posterior, name) * STANDARD_GRAVITY + downforce)
    return np.asarray(drag + rolling + column("t0") + column("t1") * speed)


def bend_per_metre(posterior: DayPosterior, name: str, end: AxleEnd) -> FloatArray:
    """Samples of the relative change of SCz per metre that an axle sinks [1/m]."""
    context = load_context(posterior.problem.grid, posterior.problem.setup_names, posterior.problem.car)
    column = _columns(posterior)
    load = bend_load(context.reference_pressure_pa * column(f"scz_{end}:{name}"))
    return np.asarray(column(f"bend_{end}:{name}") / (load * _compliance(context, column, end)))


def _compliance(context: LoadContext, column: Column, end: AxleEnd) -> FloatArray:
    axle: Axle = getattr(context.car, end)
    spring = context.springs[end]
    soft = 0.5 / (axle.tyre_rate_n_per_m.value * (1.0 + column(f"tyre_rate_{end}")))
    if spring is not None:
        soft = soft + 1.0 / (spring.rate_n_per_m * (1.0 + column(f"rate_{end}")))
    return np.asarray(soft)


def _mass(posterior: DayPosterior, name: str) -> FloatArray:
    grid = posterior.problem.grid
    mine = [i for i, d in enumerate(grid.passes) if d.of.setup == name]
    return np.asarray(float(np.mean(grid.mass[mine])) + _columns(posterior)("mass_car"))


def _columns(posterior: DayPosterior) -> Column:
    """Samples of a parameter by name, (samples,). What the day's model has no need of is drawn from what was stated
    (tyre rate, its growth, anti-squat); zeros where nothing is."""
    places = {q.name: i for i, q in enumerate(posterior.problem.priors.parameters)}
    stated = {"tyre_growth": TYRE_GROWTH_M, "anti_squat": posterior.problem.car.anti_squat}
    for end in ENDS:
        rate = getattr(posterior.problem.car, end).tyre_rate_n_per_m
        stated[f"tyre_rate_{end}"] = Quantity(0.0, rate.u / rate.value)

    def column(name: str) -> FloatArray:
        if name in places:
            return np.asarray(posterior.samples[:, places[name]])
        count = len(posterior.samples)
        if name not in stated:
            return np.zeros(count)
        drawn = np.random.default_rng([11, sorted(stated).index(name)]).standard_normal(count)
        return np.asarray(stated[name].value + stated[name].u * drawn)

    return column
