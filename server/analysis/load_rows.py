"""Axle loads and ride heights as rows of the day's filter: what each source reads of springs and body.

    damper:      (1 + δ) P / (1 + κ) + zero                                      [N]
    push rod:    (1 + ε) P + zero                                                [N]
    ride height: drop of the body at the sensor by the lever rule from the       [m]
                 drops over both axles, + zero

P is the spring load of `load_at_springs`, from the axle load of `load_at_axle`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from server.analysis.load_at_springs import sink_compliance
from server.analysis.load_data import AXLE_OF, SOURCE_OF
from server.analysis.load_priors import unit_slope, unit_zero
from server.analysis.load_terms import SIDE_OF, Columns, Linear, LoadContext
from server.analysis.result import AxleEnd
from server.testday.values import Car, FloatArray


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


def load_sensitivity(context: LoadContext, kind: int, value: Mapping[str, float]) -> float:
    """What a newton more on an axle adds to what its source reads [1] or [m/N]."""
    end = AXLE_OF[kind]
    if SOURCE_OF[kind] == "damper":
        return (1.0 + value.get(f"damper_gain_{end}", 0.0)) / (1.0 + value.get(f"rate_{end}", 0.0))
    if SOURCE_OF[kind] == "push rod":
        return 1.0 + value.get(f"rod_ratio_{end}", 0.0)
    along = SIDE_OF[end] * -value.get(f"sensor_x_{end}", 0.0) / context.car.wheelbase_m.value
    return sink_compliance(context, end, value) * (1.0 + along) * (1.0 + value.get(f"height_gain_{end}", 0.0))
