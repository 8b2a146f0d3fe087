"""Axle loads and ride heights as rows of the day's filter.

    L_front = ½ρU² SCz_front (1 + B_f ξ_f) − ΔN,   L_rear = ½ρU² SCz_rear (1 + B_r ξ_r) + ΔN,
    ΔN = [ m (dv/dt + g γ) h + (ΣJ/r) dv/dt ] / L,  dv/dt the model's own, so gusts and parameters are in it
    spring load  P = L ∓ s F_x h/L (driven axle, constant speed) − τ dL/dt + e,  e what the joints hold back
    damper:      (1 + δ) P / (1 + κ) + zero                                      [N]
    push rod:    (1 + ε) P + zero                                                [N]
    ride height: drop of the body at the sensor by the lever rule from          [m]
                 z(P)/(1 + κ) + L / (2 K_tyre (1 + τ_t)) − growth (v/20)²  over each axle, + zero

ξ is how far the axle has sunk beyond its place at the reference condition, as a share of its sink there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from server.aero.constants import STANDARD_GRAVITY
from server.analysis.axle_spring import AxleSpring
from server.analysis.load_data import AXLE_OF, SOURCE_OF, own_count
from server.analysis.load_priors import LEAST_BEND_LOAD_N, unit_slope, unit_zero
from server.analysis.pass_data import SCALE_SPEED_MPS
from server.analysis.result import AxleEnd
from server.testday.values import Axle, Car, FloatArray

ENDS: tuple[AxleEnd, AxleEnd] = ("front", "rear")
FRICTION_COLOUR: Mapping[AxleEnd, int] = {"front": 1, "rear": 2}  # place among the filter's coloured errors
SIDE_OF = {"front": -1.0, "rear": 1.0}
TRIM_SEEN_S = 0.8  # of the second after the lift that a coast-down leaves out
LEVEL_SHARE = 0.05  # of the load: what a gust at the lift shifts the level at which joints stand


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The car's motion at the nodes where the model is linearised; arrays (n,), matrices (n, columns).

    speed, air_speed [m/s]; half_density: ½ρ [kg/m³]; accel = a v + b g + forcing·(1, θ): a, b, forcing;
    mass [kg]; slope: γ in the direction of travel; drive_n: drive force of constant-speed passes, else 0,
    drive_by: its derivatives by column;
    way: sign of the pass's own wind in U; relative_density: ρ over the day's nominal; away_h: hours from the
    weather's readings.
    """

    speed: FloatArray
    air_speed: FloatArray
    half_density: FloatArray
    a: FloatArray
    b: FloatArray
    forcing: FloatArray
    mass: FloatArray
    slope: FloatArray
    drive_n: FloatArray
    drive_by: FloatArray
    way: FloatArray
    relative_density: FloatArray
    away_h: FloatArray

    @property
    def accel(self) -> FloatArray:
        """dv/dt without gusts [m/s²], (n,)."""
        return np.asarray(self.a * self.speed + self.forcing[:, 0])


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Where things stand in the model: prior u per shared parameter, index of a name or None, count of shared
    parameters, load kinds in the order of the passes' own zero columns, value by name."""

    u: FloatArray
    index: Callable[[str], int | None]
    kinds: tuple[int, ...]
    value: Mapping[str, float]

    def get(self, name: str) -> float:
        """Value of a parameter, 0 where the day has none of this name."""
        return self.value.get(name, 0.0)

    @property
    def wind(self) -> int:
        """Column of the pass's own wind."""
        return 1 + len(self.u)

    def zero(self, kind: int) -> int:
        """Column of the pass's own zero of a source."""
        return self.wind + 2 + self.kinds.index(kind)

    def drift(self, kind: int) -> int:
        """Column of that zero's drift within the pass."""
        return self.wind + 2 + len(self.kinds) + self.kinds.index(kind)

    @property
    def width(self) -> int:
        """Number of columns, offset and the pass's own included."""
        return self.wind + own_count(self.kinds)


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """A quantity at every node and its derivatives: value (n,), by speed and gust (n,), by column (n, width)."""

    value: FloatArray
    by_speed: FloatArray
    by_gust: FloatArray
    by_column: FloatArray

    def scaled(self, factor: FloatArray | float) -> Linear:
        """The quantity times a known factor."""
        factor = np.asarray(factor, dtype=float)
        wide = factor[:, None] if factor.ndim else factor
        return Linear(self.value * factor, self.by_speed * factor, self.by_gust * factor, self.by_column * wide)

    def plus(self, other: Linear) -> Linear:
        """The sum of two."""
        return Linear(
            self.value + other.value,
            self.by_speed + other.by_speed,
            self.by_gust + other.by_gust,
            self.by_column + other.by_column,
        )


@dataclass(frozen=True, slots=True)
class LoadContext:
    """What a day's load rows need besides motion and columns."""

    car: Car
    springs: Mapping[AxleEnd, AxleSpring | None]
    setup_names: tuple[str, ...]
    reference_speed_mps: float
    reference_density_kgm3: float

    @property
    def reference_pressure_pa(self) -> float:
        """Dynamic pressure of the reference condition [Pa]."""
        return 0.5 * self.reference_density_kgm3 * self.reference_speed_mps**2


def inertial_lever(car: Car, mass: FloatArray | float, value: Mapping[str, float]) -> FloatArray:
    """∂ΔN/∂(dv/dt) = (m h + ΣJ/r) / L [kg]."""
    spin = 0.0
    for end in ENDS:
        axle: Axle = getattr(car, end)
        spin += axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value * (1.0 + value.get(f"inertia_{end}", 0.0))
    lever = (1.0 + value.get("lever", 0.0)) / car.wheelbase_m.value
    return np.asarray((mass * car.cg_height_m.value + spin) * lever)


def sink_compliance(context: LoadContext, end: AxleEnd, value: Mapping[str, float]) -> float:
    """How far an axle's body comes down per load on its tyres at rest [m/N]."""
    axle: Axle = getattr(context.car, end)
    spring = context.springs[end]
    soft = 0.0 if spring is None else 1.0 / (spring.rate_n_per_m * (1.0 + value.get(f"rate_{end}", 0.0)))
    return soft + 0.5 / (axle.tyre_rate_n_per_m.value * (1.0 + value.get(f"tyre_rate_{end}", 0.0)))


def load_sensitivity(context: LoadContext, kind: int, value: Mapping[str, float]) -> float:
    """What a newton more on an axle adds to what its source reads [1] or [m/N]."""
    end = AXLE_OF[kind]
    if SOURCE_OF[kind] == "damper":
        return (1.0 + value.get(f"damper_gain_{end}", 0.0)) / (1.0 + value.get(f"rate_{end}", 0.0))
    if SOURCE_OF[kind] == "push rod":
        return 1.0 + value.get(f"rod_ratio_{end}", 0.0)
    along = SIDE_OF[end] * -value.get(f"sensor_x_{end}", 0.0) / context.car.wheelbase_m.value
    return sink_compliance(context, end, value) * (1.0 + along) * (1.0 + value.get(f"height_gain_{end}", 0.0))


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


def spring_load(  # noqa: PLR0917 - the parts of one equation
    load: Linear, motion: Motion, context: LoadContext, columns: Columns, end: AxleEnd, load_rate: FloatArray
) -> Linear:
    """What the springs of an axle carry: its load less what the links take past them, late by the lag.

    load_rate: dL/dt along the pass [N/s].
    """
    car, value, by_column = context.car, load.value.copy(), load.by_column.copy()
    driven = car.driven in {"all", end}
    lag = columns.index(f"lag_{end}")
    if lag is not None:
        value -= columns.get(f"lag_{end}") * load_rate
        by_column[:, 1 + lag] -= load_rate * columns.u[lag]
    squat = columns.index("anti_squat")
    if squat is not None and driven:
        share = 0.5 if car.driven == "all" else 1.0
        lever = -SIDE_OF[end] * share * car.cg_height_m.value / car.wheelbase_m.value
        lift = lever * motion.drive_n
        value += columns.get("anti_squat") * lift
        by_column += columns.get("anti_squat") * lever * motion.drive_by
        by_column[:, 1 + squat] += lift * columns.u[squat]
    return Linear(value, load.by_speed, load.by_gust, by_column)


def through_joints(  # noqa: PLR0917 - the parts of one equation
    springs: Linear, load_n: FloatArray, columns: Columns, end: AxleEnd, parts: Sequence[slice], step_s: float
) -> Linear:
    """What the springs carry when joint friction f first has to turn round, pass by pass.

    The lift throws load on to the front axle and takes it off the rear one. Where the load then goes on that way
    the springs follow at once; where it turns, they stand until it has crossed the play 2f, and until then miss

        d = E max(0, 2f − x) = s [φ(k) + k Φ(k)],  k = (2f − x)/s,  x = |F(0) − F(t)|,

    s the spread of the play from pass to pass. While they stand (w = Φ(k)) the springs tell nothing of what the
    load does: its derivatives count by 1 − w, those of the load at the lift by w, and the level is the pass's own.
    After that friction is a constant, part of the zero.

    load_n: the axle's load without gusts, (n,); parts: the coast-downs, each from about a second after the lift.
    """
    half = columns.index(f"joint_{end}")
    friction = max(columns.get(f"joint_{end}"), 0.0)
    spread = 10.0 + 0.3 * friction
    value, by_column = springs.value.copy(), springs.by_column.copy()
    by_speed, by_gust = springs.by_speed.copy(), springs.by_gust.copy()
    own = columns.wind + 2 + 2 * len(columns.kinds) + ENDS.index(end)
    for part in parts:
        load = load_n[part]
        change = load[0] - load
        sign = 1.0 if change[-1] >= 0.0 else -1.0
        if (sign > 0.0) == (end == "rear"):
            continue
        crossed = TRIM_SEEN_S * abs(load[1] - load[0]) / step_s + np.maximum.accumulate(np.abs(change))
        k = (2.0 * friction - crossed) / spread
        standing = ndtr(k)
        missed = spread * (np.exp(-0.5 * k**2) / np.sqrt(2.0 * np.pi) + k * standing)
        value[part] -= sign * missed
        moving = 1.0 - standing
        by_speed[part] *= moving
        by_gust[part] *= moving
        first = springs.by_column[part.start]
        by_column[part] = moving[:, None] * springs.by_column[part] + standing[:, None] * first
        if half is not None:
            by_column[part, 1 + half] -= sign * 2.0 * standing * columns.u[half]
        by_column[part, own] = standing * (spread + LEVEL_SHARE * abs(float(load[0])))
    return Linear(value, by_speed, by_gust, by_column)


def body_drop(  # noqa: PLR0917 - the parts of one equation
    load: Linear, springs: Linear, motion: Motion, context: LoadContext, columns: Columns, end: AxleEnd
) -> tuple[Linear, FloatArray]:
    """How far the body has come down over an axle [m], and what a newton held back in the joints adds [m/N]."""
    axle: Axle = getattr(context.car, end)
    spring = context.springs[end]
    stiff = 2.0 * axle.tyre_rate_n_per_m.value * (1.0 + columns.get(f"tyre_rate_{end}"))
    drop = load.scaled(1.0 / stiff)
    by_column, value = drop.by_column.copy(), drop.value.copy()
    rate = columns.index(f"tyre_rate_{end}")
    if rate is not None:
        by_column[:, 1 + rate] -= value / (1.0 + columns.get(f"tyre_rate_{end}")) * columns.u[rate]
    grown = (motion.speed / SCALE_SPEED_MPS) ** 2
    growth = columns.index("tyre_growth")
    value = value - columns.get("tyre_growth") * grown
    by_speed = drop.by_speed - 2.0 * columns.get("tyre_growth") * motion.speed / SCALE_SPEED_MPS**2
    if growth is not None:
        by_column[:, 1 + growth] -= grown * columns.u[growth]
    tyre = Linear(value, by_speed, drop.by_gust, by_column)
    if spring is None:
        return tyre, np.zeros(len(value))
    softer = 1.0 / (1.0 + columns.get(f"rate_{end}"))
    compliance = spring.compliance(springs.value) * softer
    travel = Linear(
        spring.travel(springs.value) * softer,
        springs.by_speed * compliance,
        springs.by_gust * compliance,
        springs.by_column * compliance[:, None],
    )
    place = columns.index(f"rate_{end}")
    if place is not None:
        travel.by_column[:, 1 + place] -= travel.value * softer * columns.u[place]
    return tyre.plus(travel), compliance


def source_rows(  # noqa: PLR0917 - the parts of one equation
    kind: int,
    loads: Mapping[AxleEnd, Linear],
    springs: Mapping[AxleEnd, Linear],
    drops: Mapping[AxleEnd, tuple[Linear, FloatArray]],
    columns: Columns,
    car: Car,
) -> tuple[Linear, FloatArray, FloatArray]:
    """What a source reads at every node, and what a newton of joint friction front and rear adds to it."""
    end = AXLE_OF[kind]
    n = len(loads[end].value)
    none = np.zeros(n)
    if SOURCE_OF[kind] == "ride height":
        return _ride_height(end, drops, columns, car)
    if SOURCE_OF[kind] == "damper":
        gain = (1.0 + columns.get(f"damper_gain_{end}")) / (1.0 + columns.get(f"rate_{end}"))
        seen = springs[end].scaled(gain)
        rates = {f"rate_{end}": -1.0 / (1.0 + columns.get(f"rate_{end}")), f"damper_gain_{end}": 1.0}
    else:
        gain = 1.0 + columns.get(f"rod_ratio_{end}")
        seen = springs[end].scaled(gain)
        rates = {f"rod_ratio_{end}": 1.0 / gain}
    for name, share in rates.items():
        place = columns.index(name)
        if place is not None:
            seen.by_column[:, 1 + place] += share * seen.value * columns.u[place]
    held = np.full(n, gain)
    return seen, held if end == "front" else none, held if end == "rear" else none


def _ride_height(
    end: AxleEnd, drops: Mapping[AxleEnd, tuple[Linear, FloatArray]], columns: Columns, car: Car
) -> tuple[Linear, FloatArray, FloatArray]:
    """Drop at a sensor from the drops over both axles by the lever rule: x ahead of its axle."""
    along = columns.get(f"sensor_x_{end}") / car.wheelbase_m.value
    front, rear = (along, -along)
    front, rear = (1.0 + front, rear) if end == "front" else (front, 1.0 + rear)
    gain = 1.0 + columns.get(f"height_gain_{end}")
    seen = drops["front"][0].scaled(front * gain).plus(drops["rear"][0].scaled(rear * gain))
    pitch = (drops["front"][0].value - drops["rear"][0].value) / car.wheelbase_m.value
    for name, by in ((f"sensor_x_{end}", pitch * gain), (f"height_gain_{end}", seen.value / gain)):
        place = columns.index(name)
        if place is not None:
            seen.by_column[:, 1 + place] += by * columns.u[place]
    return seen, drops["front"][1] * front * gain, drops["rear"][1] * rear * gain


def zero_columns(seen: Linear, kind: int, columns: Columns, since_mid_s: FloatArray) -> Linear:
    """The same with the pass's own zero and its drift."""
    by_column = seen.by_column.copy()
    by_column[:, columns.zero(kind)] = unit_zero(kind)
    by_column[:, columns.drift(kind)] = unit_slope(kind) * since_mid_s
    return Linear(seen.value, seen.by_speed, seen.by_gust, by_column)
