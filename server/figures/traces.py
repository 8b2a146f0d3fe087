"""Channels of one log over time, a panel each, with what was made of each stretch marked above and behind them.

A point stands for all samples between its two times: the line runs from the least to the greatest of them and
back with the next point, so no peak is lost however long the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from plotly import graph_objects as go

from server.analysis.result import Pass
from server.figures.marks import escape, new_figure
from server.figures.panels import TITLE_ROOM_PX, Grid
from server.figures.passes_over_speed import DIRECTION_WORDS
from server.figures.run_values import ChannelTrace
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, drawing
from server.testday.values import FloatArray

PANEL_PX, NARROW_PANEL_PX = 190, 150
STRIP_ROW_PX = 30
MARGINS_PX = 36 + 20
KINDS = {"coast-down": "coast-downs", "constant-speed": "steady speed", "zero": "standing"}
GAP_STEPS, GAP_LEAST_S = 8.0, 0.5
LINE_PX = 1.6
NAME_ROOM = 0.24  # of the range, above it
USED_PX, DROPPED_PX = 13, 3


def traces_table(channels: Sequence[ChannelTrace]) -> Table:
    """What the figure draws, one row a point."""
    rows: list[tuple[Cell, ...]] = []
    for one in channels:
        columns = (one.first_s, one.last_s, one.low, one.high)
        for first, last, low, high in zip(*(column.tolist() for column in columns), strict=True):
            rows.append((one.name, one.unit, first, last, _cell(low), _cell(high)))
    return Table(("channel", "unit", "from [s]", "to [s]", "least", "greatest"), tuple(rows))


def traces(channels: Sequence[ChannelTrace], passes: Sequence[Pass] = (), narrow: bool = False) -> go.Figure:
    """Channels over time in panels with one time axis; above them the stretches, a row a kind.

    A stretch that is used is a thick bar and shaded through all panels; one that was turned down is a thin
    dashed line with a cross, and dashed edges through the panels.
    """
    kinds = [kind for kind in KINDS if any(one.kind == kind for one in passes)]
    panel_px = NARROW_PANEL_PX if narrow else PANEL_PX
    strip = (STRIP_ROW_PX * len(kinds),) if kinds else ()
    grid = Grid(1, (*strip, *(panel_px for _ in channels or [None])), narrow)
    figure = new_figure(grid.height_px + TITLE_ROOM_PX + MARGINS_PX, narrow)
    span = _span(channels, passes)
    if kinds:
        figure.add_traces([_bar(one, kinds, grid.axes(0, 0)) for one in passes])
        figure.update_layout(_strip_axes(grid, kinds, span))
        figure.update_layout(shapes=[shape for one in passes for shape in _behind(one)])
    for row, one in enumerate(channels, len(strip)):
        axes = grid.axes(0, row)
        figure.add_trace(_line(one, axes))
        figure.update_layout(_panel_axes(grid, row, one, span))
        figure.add_annotation(grid.title(0, row, escape(one.name)))
    if not channels:
        figure.update_layout(_panel_axes(grid, len(strip), None, span))
    return figure


def traces_json(channels: Sequence[ChannelTrace], passes: Sequence[Pass] = (), narrow: bool = False) -> str:
    """JSON that the page's plot module draws: the figure in light colours and the swaps that make it dark."""
    return drawing(traces(channels, passes, narrow))


def path(one: ChannelTrace) -> tuple[FloatArray, FloatArray]:
    """Times and values of the line: least and greatest of each point, by turns the one and the other first.

    A single sample is one corner. Where nothing was logged for long, the line is broken by a nan.
    """
    n = len(one.low)
    turn = np.arange(n) % 2 == 1
    time_s, values = np.empty((n, 3)), np.empty((n, 3))
    time_s[:, 0], time_s[:, 1], time_s[:, 2] = one.first_s, one.last_s, one.last_s
    values[:, 0], values[:, 1] = np.where(turn, one.high, one.low), np.where(turn, one.low, one.high)
    values[:, 2] = np.nan
    wanted = np.ones((n, 3), dtype=bool)
    wanted[:, 1] = ((one.first_s != one.last_s) | (one.low != one.high)) & ~np.isnan(one.low)
    wanted[:, 2] = _gap_follows(one)
    return time_s[wanted], values[wanted]


def _gap_follows(one: ChannelTrace) -> NDArray[np.bool_]:
    """Whether the next point begins far later than points usually do; never after the last."""
    between = one.first_s[1:] - one.last_s[:-1]
    rhythm = float(np.median(np.diff(one.first_s))) if len(between) else 0.0
    return np.append(between > max(GAP_STEPS * rhythm, GAP_LEAST_S), np.zeros(min(1, len(one.low)), dtype=bool))


def _line(one: ChannelTrace, axes: dict[str, str]) -> go.Scatter:
    time_s, values = path(one)
    unit = f" {escape(one.unit)}" if one.unit else ""
    alone = len(time_s) == 1
    return go.Scatter(
        x=time_s,
        y=values,
        mode="markers" if alone else "lines",
        name=escape(one.name),
        connectgaps=False,
        line={"color": LIGHT["ink"], "width": LINE_PX, "simplify": False},
        marker={"color": LIGHT["ink"], "size": 8},
        hovertemplate="%{x:.2f} s, %{y:.5~g}" + unit.replace("%{", "% {") + "<extra></extra>",
        **axes,
    )


def _panel_axes(grid: Grid, row: int, one: ChannelTrace | None, span: list[float]) -> dict[str, Any]:
    unit = "" if one is None else f"[{escape(one.unit) if one.unit else 'no unit'}]"
    heights = {} if one is None else _heights(one)
    found = grid.layout(0, row, ("time [s]", unit), x=span, **heights)
    suffix = grid.axes(0, row)["xaxis"].removeprefix("x")
    if suffix:
        found[f"xaxis{suffix}"]["matches"] = "x"
    return found


def _heights(one: ChannelTrace) -> dict[str, list[float]]:
    """Range of the values, with room above for the panel's name."""
    numbers = np.concatenate([one.low, one.high])
    numbers = numbers[np.isfinite(numbers)]
    if not len(numbers):
        return {}
    low, high = float(numbers.min()), float(numbers.max())
    room = high - low or abs(high) or 1.0
    return {"y": [low - 0.06 * room, high + NAME_ROOM * room]}


def _strip_axes(grid: Grid, kinds: Sequence[str], span: list[float]) -> dict[str, Any]:
    found = grid.layout(0, 0, ("", ""), x=span, y=[len(kinds) - 0.4, -0.6])
    found["yaxis"] |= {
        "tickvals": list(range(len(kinds))),
        "ticktext": [KINDS[kind] for kind in kinds],
        "showgrid": False,
        "fixedrange": True,
    }
    return found


def _bar(one: Pass, kinds: Sequence[str], axes: dict[str, str]) -> go.Scatter:
    row = kinds.index(one.kind)
    middle = 0.5 * (one.start_s + one.end_s)
    cross = {"symbol": "x-thin", "size": 11, "line": {"color": LIGHT["ink"], "width": 2.5}}
    text = words(one)
    return go.Scatter(
        x=[one.start_s, middle, one.end_s],
        y=[row, row, row],
        mode="lines" if one.used else "lines+markers",
        line={
            "color": LIGHT["ink"],
            "width": USED_PX if one.used else DROPPED_PX,
            "dash": "solid" if one.used else "dot",
        },
        marker={} if one.used else {**cross, "opacity": [0, 1, 0]},
        text=[text] * 3,
        hovertemplate="%{text}<extra></extra>",
        **axes,
    )


def _behind(one: Pass) -> list[dict[str, Any]]:
    """The stretch through all panels: shaded where used, two dashed edges where turned down."""
    common: dict[str, Any] = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below"}
    if one.used:
        return [
            {"type": "rect", "x0": one.start_s, "x1": one.end_s, "fillcolor": LIGHT["shade"], "line": {"width": 0}}
            | common
        ]
    edge = {"color": LIGHT["ink"], "width": 1.5, "dash": "dash"}
    return [{"type": "line", "x0": at, "x1": at, "line": edge} | common for at in (one.start_s, one.end_s)]


def words(one: Pass) -> str:
    """What a stretch is, for its label."""
    kind = {"coast-down": "coast-down", "constant-speed": "steady speed", "zero": "standing"}[one.kind]
    way = f" {DIRECTION_WORDS[one.direction]}" if one.kind != "zero" else ""
    reason = f": {escape(one.reason)}" if one.reason else ""
    return f"{kind}{way}, {one.start_s:.1f} to {one.end_s:.1f} s, {'used' if one.used else 'turned down' + reason}"


def _span(channels: Sequence[ChannelTrace], passes: Sequence[Pass]) -> list[float]:
    """The time that is shown: that of the channels, or else of the passes."""
    ends = [value for one in channels if len(one.low) for value in (float(one.first_s[0]), float(one.last_s[-1]))]
    ends = ends or [value for one in passes for value in (one.start_s, one.end_s)] or [0.0, 1.0]
    return [min(ends), max(ends)] if max(ends) > min(ends) else [min(ends) - 0.5, max(ends) + 0.5]


def _cell(value: float) -> float | None:
    return value if np.isfinite(value) else None
