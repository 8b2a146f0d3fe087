"""Air speed measured on the car, as a second witness of the wind and gusts that drag and axle loads feel.

    y = (1 + κ)(U + z / (2U)) at t − τ, + e,     U = v + d w + g

κ: where the probe stands the air is faster or slower than ahead of the car, and the logger may take one density for
the whole day; z = 2δp/ρ: a zero error δp of its pressure sensor, a cross wind that it sees; τ: its tubes' delay; e:
gusts that meet the probe and not the car (Ornstein–Uhlenbeck). One day's passes tell κ only as well as its gusts
average out, so that a probe of unknown scale says next to nothing new and what is wrong with it moves the areas: only
where the scale is stated to 1 % or better is it used.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.analysis.day_grid import DayGrid, Point, pass_speed_rate, path_speed
from server.analysis.day_priors import Parameter, Priors, plain
from server.analysis.observation_rows import Block, colour_count
from server.analysis.pass_data import AIR, PassData
from server.testday.values import Car, Quantity

MOST_SCALE_U = 0.01
LEAST_SCALE_U = 0.003
# A pressure sensor's zero of 2 Pa, and a cross wind of 1.5 m/s, as what they add to U² (m²/s²).
AIR_ZERO = Quantity(0.0, 4.0, "default")
# Tubes and a slow filter (common practice, no source), s.
AIR_LAG_S = Quantity(0.10, 0.08, "default")
LEAST_AIR_SPEED_MPS = 3.0


def stated_scale(car: Car) -> Quantity | None:
    """What is known of κ: the slope's u of [calibration.airspeed], where somebody stated it. None where it is not known
    well enough for the air speed to be used."""
    given = car.calibration.get("airspeed")
    if given is None or given.gain_rel_u is None or given.gain_rel_u > MOST_SCALE_U:
        return None
    return Quantity(0.0, max(given.gain_rel_u, LEAST_SCALE_U), "typed")


def air_parameters(data: Sequence[PassData], car: Car) -> list[Parameter]:
    """What air speed brings into the day's model; nothing where no pass has any."""
    scale = stated_scale(car)
    if scale is None or not any(each.air is not None for each in data):
        return []
    return [
        plain("air_scale", "air speed's scale on the car", scale, "–"),
        plain("air_zero", "air speed's zero and cross wind", AIR_ZERO, "m²/s²"),
        plain("air_lag", "air speed's delay", AIR_LAG_S, "s"),
    ]


def air_blocks(grid: DayGrid, priors: Priors, value: dict[str, float], point: Point) -> list[Block]:
    """Air speed of every pass that has it."""
    sd, width, colours = priors.u, 1 + len(priors.parameters) + grid.own, colour_count(grid)
    node_speed, blocks = path_speed(grid, grid.time_s, value), []
    for i, data in enumerate(grid.passes):
        if data.air is None:
            continue
        node = grid.start[i] + data.air.node
        way = float(data.of.direction) or 1.0
        wind = way * point.wind[i]
        fast = np.maximum(node_speed[node] + wind, LEAST_AIR_SPEED_MPS)
        rate = pass_speed_rate(data, value)[data.air.node]
        gain, zero = 1.0 + value["air_scale"], value["air_zero"]
        by_speed = gain * (1.0 - zero / (2.0 * fast**2))
        seen = fast + zero / (2.0 * fast) + (data.air.lead_s - value["air_lag"]) * rate
        see, direct = np.zeros((len(node), 2 + colours)), np.zeros((len(node), width))
        see[:, 0] = see[:, 1] = by_speed
        see[:, 1 + colours] = 1.0
        direct[:, 0] = gain * seen - by_speed * node_speed[node]
        columns = {"air_scale": seen, "air_zero": gain / (2.0 * fast), "air_lag": -gain * rate}
        for name, column in columns.items():
            place = priors.index(name)
            direct[:, 1 + place] = column * sd[place]
        direct[:, 1 + len(priors.parameters)] = by_speed * way
        blocks.append(Block(node, data.air.value, see, direct, AIR, np.asarray(1.0 / data.air.share), i))
    return blocks
