"""From the load on an axle to what its springs carry and how far the body comes down.

    on the wheel's clock  L + τ_w dL/dt
    spring load  P = L ∓ s F_x h/L (driven axle, constant speed) − τ dL/dt + e,  e what the joints hold back
    drop over an axle  z(P)/(1 + κ) + L / (2 K_tyre (1 + τ_t)) − growth (v/20)²
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import ndtr

from server.analysis.load_terms import ENDS, SIDE_OF, Columns, Linear, LoadContext, Motion
from server.analysis.pass_data import SCALE_SPEED_MPS
from server.analysis.result import AxleEnd
from server.testday.values import Axle, FloatArray

TRIM_SEEN_S = 0.8  # of the second after the lift that a coast-down leaves out
LEVEL_SHARE = 0.05  # of the load: what a gust at the lift shifts the level at which joints stand


def by_wheel_clock(load: Linear, columns: Columns, load_rate: FloatArray, wheel: FloatArray) -> Linear:
    """The load as it stands on the clock of the wheel's speed, which is late by τ_w: L + τ_w dL/dt.

    load_rate: dL/dt along the pass [N/s]; wheel: 1 at the nodes of passes that a wheel's speed leads, else 0.
    """
    late = columns.index("speed_late")
    if late is None:
        return load
    by_column = load.by_column.copy()
    by_column[:, 1 + late] += wheel * load_rate * columns.u[late]
    value = load.value + columns.get("speed_late") * wheel * load_rate
    return Linear(value, load.by_speed, load.by_gust, by_column)


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


def sink_compliance(context: LoadContext, end: AxleEnd, value: Mapping[str, float]) -> float:
    """How far an axle's body comes down per load on its tyres at rest [m/N]."""
    axle: Axle = getattr(context.car, end)
    spring = context.springs[end]
    soft = 0.0 if spring is None else 1.0 / (spring.rate_n_per_m * (1.0 + value.get(f"rate_{end}", 0.0)))
    return soft + 0.5 / (axle.tyre_rate_n_per_m.value * (1.0 + value.get(f"tyre_rate_{end}", 0.0)))
