"""Observations as the filter takes them: what each sees of speed, gust, coloured errors and parameters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.day_grid import DayGrid, pass_speed_rate, path_speed
from server.analysis.day_priors import Priors
from server.analysis.pass_data import SATELLITE, SCALE_SPEED_MPS, SPEEDOMETER, WHEEL
from server.testday.values import FloatArray

ONLY_PLACES = 25.0  # variance factor of the speeds of a constant-speed pass: they place it, they test nothing


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """All observations sorted by node, as arrays of the filter, and the pass of each."""

    filter_arrays: dict[str, np.ndarray]
    row_pass: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Observations of one sensor in one pass: node, value, what they see, white-noise kind, variance factor."""

    node: np.ndarray
    y: FloatArray
    see: FloatArray
    direct: FloatArray
    kind: int
    weight: FloatArray
    of_pass: int


def speed_blocks(grid: DayGrid, priors: Priors, value: dict[str, float]) -> list[Block]:
    """Speed observations with what they see of scale and delay."""
    sd, width, colours = priors.u, 1 + len(priors.parameters) + grid.own, colour_count(grid)
    node_speed = path_speed(grid, grid.time_s, value)
    blocks = []
    for i, data in enumerate(grid.passes):
        for kind, series in data.series.items():
            node = grid.start[i] + series.node
            speed = node_speed[node]
            rate = pass_speed_rate(data, value)[series.node]
            direct, see = np.zeros((len(node), width)), np.zeros((len(node), 2 + colours))
            if kind == WHEEL:
                growth = speed**2 / SCALE_SPEED_MPS**2 - 1.0
                see[:, 0] = h = 1.0 + value["scale0"] + value["scale2"] * growth
                direct[:, 0] = (series.lead_s - value["wheel_lag"] / speed) * rate * h
                direct[:, 1 + priors.index("wheel_lag")] = -rate / speed * sd[priors.index("wheel_lag")]
                direct[:, 1 + priors.index("scale0")] = speed * sd[priors.index("scale0")]
                direct[:, 1 + priors.index("scale2")] = speed * growth * sd[priors.index("scale2")]
            elif kind == SPEEDOMETER:
                see[:, 0] = gain = value["speedometer_gain"]
                direct[:, 0] = value["speedometer_offset"] + series.lead_s * rate * gain
                direct[:, 1 + priors.index("speedometer_gain")] = speed * sd[priors.index("speedometer_gain")]
                direct[:, 1 + priors.index("speedometer_offset")] = sd[priors.index("speedometer_offset")]
            else:
                see[:, 0], see[:, 2] = 1.0 + value["satellite"], 1.0
                timed = WHEEL in data.series or bool(data.loads)  # else nothing tells that it is late
                lag = value["delay"] if timed else 0.0
                direct[:, 0] = (series.lead_s - lag) * rate
                if timed:
                    direct[:, 1 + priors.index("delay")] = -rate * sd[priors.index("delay")]
                direct[:, 1 + priors.index("satellite")] = speed * sd[priors.index("satellite")]
            weight = (1.0 if data.of.kind == "coast-down" else ONLY_PLACES) / series.share
            blocks.append(Block(node, series.value, see, direct, kind, weight, i))
    return blocks


def colour_count(grid: DayGrid) -> int:
    """Coloured errors of the filter: the satellite's, with loads what the joints of each axle hold back, and last the
    air speed's where it is measured."""
    return (3 if grid.load_kinds else 1) + grid.has_air


def sorted_rows(grid: DayGrid, blocks: Sequence[Block]) -> Rows:
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
    return Rows(arrays, of_pass[order].astype(np.int64))


def _first_speeds(grid: DayGrid, blocks: Sequence[Block]) -> FloatArray:
    """The first speed that each pass observed [m/s]."""
    first = np.zeros(len(grid.passes))
    for block in reversed(blocks):
        if block.kind in {WHEEL, SATELLITE, SPEEDOMETER}:
            first[block.of_pass] = (block.y[0] - block.direct[0, 0]) / block.see[0, 0]
    return first
