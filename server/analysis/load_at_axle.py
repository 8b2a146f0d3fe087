"""What the air and the deceleration put on an axle: the load at the ground, with its derivatives.

    L_front = ½ρU² SCz_front (1 + B_f ξ_f) − ΔN,   L_rear = ½ρU² SCz_rear (1 + B_r ξ_r) + ΔN,
    ΔN = [ m (dv/dt + g γ) h + (ΣJ/r) dv/dt ] / L,  dv/dt the model's own, so gusts and parameters are in it

ξ is how far the axle has sunk beyond its place at the reference condition, as a share of its sink there.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from server.aero.constants import STANDARD_GRAVITY
from server.analysis.load_priors import LEAST_BEND_LOAD_N
from server.analysis.load_terms import ENDS, SIDE_OF, Columns, Linear, LoadContext, Motion
from server.analysis.result import AxleEnd
from server.testday.values import Axle, Car, FloatArray


def inertial_lever(car: Car, mass: FloatArray | float, value: Mapping[str, float]) -> FloatArray:
    """∂ΔN/∂(dv/dt) = (m h + ΣJ/r) / L [kg]."""
    spin = 0.0
    for end in ENDS:
        axle: Axle = getattr(car, end)
        spin += axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value * (1.0 + value.get(f"inertia_{end}", 0.0))
    lever = (1.0 + value.get("lever", 0.0)) / car.wheelbase_m.value
    return np.asarray((mass * car.cg_height_m.value + spin) * lever)


def bend_shape(
    motion: Motion, setup: np.ndarray, context: LoadContext, end: AxleEnd, value: Mapping[str, float]
) -> tuple[FloatArray, FloatArray]:
    """ξ at every node, (n,), and ∂ξ/∂(load) [1/N], (n,).

    ξ = (load − load at the reference condition) / bend_load: how far the axle has sunk beyond its place there, as a
    share of how far it sinks there. From the steady load of the unbent area, then twice bettered.
    """
    area = np.array([value[f"scz_{end}:{s}"] for s in context.setup_names])[setup]
    bend = np.array([value.get(f"bend_{end}:{s}", 0.0) for s in context.setup_names])[setup]
    reference = context.reference_pressure_pa * area
    scale = bend_load(reference)
    transfer = SIDE_OF[end] * _transfer(motion, context.car, value)
    aero = motion.half_density * motion.air_speed**2 * area
    xi = (aero + transfer - reference) / scale
    for _ in range(2):
        xi = (aero * (1.0 + bend * xi) + transfer - reference) / scale
    return xi, 1.0 / scale


def bend_load(reference_n: FloatArray) -> FloatArray:
    """Load that a bend is counted by [N]: the axle's downforce at the reference condition, at least 150 N."""
    return np.maximum(reference_n, LEAST_BEND_LOAD_N)


def _transfer(motion: Motion, car: Car, value: Mapping[str, float]) -> FloatArray:
    lever = (1.0 + value.get("lever", 0.0)) / car.wheelbase_m.value
    weight = motion.mass * STANDARD_GRAVITY * motion.slope * car.cg_height_m.value * lever
    return np.asarray(inertial_lever(car, motion.mass, value) * motion.accel + weight)


def axle_load(  # noqa: PLR0917 - the parts of one equation
    motion: Motion,
    setup: np.ndarray,
    context: LoadContext,
    columns: Columns,
    end: AxleEnd,
    slopes: Mapping[str, FloatArray],
    drivers: Mapping[str, FloatArray],
) -> Linear:
    """Load of an axle away from the standing car [N], with its derivatives.

    slopes: parameter → ∂γ/∂parameter at the nodes; drivers: mass parameter → 1 where it counts, else 0.
    """
    value, car, side = columns.value, context.car, SIDE_OF[end]
    area = np.array([value[f"scz_{end}:{s}"] for s in context.setup_names])[setup]
    bend = np.array([columns.get(f"bend_{end}:{s}") for s in context.setup_names])[setup]
    xi, by_load = bend_shape(motion, setup, context, end, value)
    pressure = motion.half_density * motion.air_speed**2
    aero = pressure * area * (1.0 + bend * xi)
    lever = inertial_lever(car, motion.mass, value)
    transfer = _transfer(motion, car, value)
    # by air speed: through the pressure, and through the sink that follows it
    steeper = 1.0 + bend * xi + bend * pressure * area * by_load
    by_air = 2.0 * motion.half_density * motion.air_speed * area * steeper
    by_column = side * lever[:, None] * motion.forcing
    by_column[:, 0] = 0.0

    def add(name: str, derivative: FloatArray | float) -> None:
        place = columns.index(name)
        if place is not None:
            by_column[:, 1 + place] += derivative * columns.u[place]

    for i, s in enumerate(context.setup_names):
        here = (setup == i).astype(float)
        add(f"scz_{end}:{s}", here * pressure * (1.0 + bend * xi))
        add(f"bend_{end}:{s}", here * pressure * area * xi)
    for name in ("pressure", "temperature", "humidity"):
        add(name, aero / motion.relative_density)
    add("air_away", aero / motion.relative_density * motion.away_h)
    add("lever", side * transfer / (1.0 + columns.get("lever")))
    over = (1.0 + columns.get("lever")) / car.wheelbase_m.value
    height = car.cg_height_m.value * over
    for name, shape in slopes.items():
        add(name, side * motion.mass * STANDARD_GRAVITY * height * shape)
    for name, counts in drivers.items():
        add(name, side * (motion.accel + STANDARD_GRAVITY * motion.slope) * height * counts)
    for wheel in ENDS:
        axle: Axle = getattr(car, wheel)
        spin = axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value * over
        add(f"inertia_{wheel}", side * spin * motion.accel)
    by_column[:, columns.wind] += motion.way * by_air
    return Linear(aero + side * transfer, by_air + side * lever * motion.a, by_air + side * lever * motion.b, by_column)
