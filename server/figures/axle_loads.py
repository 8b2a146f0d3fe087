"""Axle load against dynamic pressure: every pass with the fit, and beneath what is left of it."""

from __future__ import annotations

from typing import Any

import numpy as np
from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.fits import AXLE_WORDS, AXLES, KIND_WORDS, chosen_source
from server.figures.lines import end_letter, level
from server.figures.load_points import LoadPoint, PassLoads, over_pressure
from server.figures.marks import circle, escape, new_figure
from server.figures.panels import Grid, padded, spread
from server.figures.passes_over_speed import DIRECTION_WORDS
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

LOAD_HEIGHT_PX, LEFT_HEIGHT_PX = 330, 124
FRAME_PX = 120
LETTER_PX = 21
SYMBOLS = {"coast-down": ("circle", 7), "constant-speed": ("square", 12)}
PRESSURE = "dynamic pressure ½ρU² [Pa]"


def axle_loads_table(result: DayResult, choice: str = "") -> Table:
    """What the figure draws, one row a point."""
    rows: list[tuple[Cell, ...]] = []
    for one in over_pressure(result, chosen_source(result, choice)):
        of = one.fit.of
        where = (one.setup, of.run, KIND_WORDS[of.kind], DIRECTION_WORDS[of.direction], of.start_s)
        for p in one.points:
            left = p.load_n - p.fitted_n
            rows.append(
                (*where, one.load.axle, one.load.source, 3.6 * p.speed_mps, p.pressure_pa, p.load_n, p.fitted_n, left)
            )
    columns = (
        *("setup", "run", "kind", "direction", "pass start [s]", "axle", "source", "speed [km/h]"),
        *("dynamic pressure [Pa]", "load as observed [N]", "fit [N]", "residual [N]"),
    )
    return Table(columns, tuple(rows))


def axle_loads(result: DayResult, narrow: bool = False, choice: str = "") -> go.Figure:
    """Front and rear side by side; coast-downs are circles, constant-speed passes squares, setups by hue and letter."""
    marks = setup_marks([setup.name for setup in result.setups])
    passes = over_pressure(result, chosen_source(result, choice))
    shown = [setup.name for setup in result.setups if any(one.setup == setup.name for one in passes)]
    grid = Grid(len(AXLES), (LOAD_HEIGHT_PX, *(LEFT_HEIGHT_PX for _ in shown)), narrow)
    figure = new_figure(grid.height_px + FRAME_PX, narrow)
    spans = _spans(passes)
    for group, axle in enumerate(AXLES):
        mine = [one for one in passes if one.load.axle == axle]
        figure.add_traces([trace for one in mine for trace in _traces(one, marks[one.setup], grid, group, shown)])
        _draw_fits(figure, mine, marks, grid.axes(group, 0))
        figure.update_layout(_axes(grid, group, spans))
        figure.add_annotation(grid.title(group, 0, AXLE_WORDS[axle]))
        for row, name in enumerate(shown, start=1):
            figure.add_annotation(grid.title(group, row, marks[name].letter, marks[name]))
            figure.add_shape(level(0.0, grid.axes(group, row), "solid"))
    return figure


def _traces(one: PassLoads, mark: SetupMark, grid: Grid, group: int, shown: list[str]) -> list[go.Scatter]:
    """The pass's points in the upper panel, their residuals in its setup's strip."""
    of = one.fit.of
    symbol, size = SYMBOLS.get(of.kind, SYMBOLS["coast-down"])
    name = f"setup {escape(one.setup)}, run {of.run} {DIRECTION_WORDS[of.direction]}, {KIND_WORDS[of.kind]}"
    marker = {**circle(mark, size), "symbol": symbol}
    marker["line"] = {"color": LIGHT["ink"], "width": 1.2}
    common: dict[str, Any] = {
        "x": [p.pressure_pa for p in one.points],
        "mode": "markers",
        "marker": marker,
        "name": name,
        "hovertemplate": "%{x:.0f} Pa, %{y:.0f} N<extra>" + name + "</extra>",
    }
    strip = 1 + shown.index(one.setup)
    return [
        go.Scatter(y=[p.load_n for p in one.points], **common, **grid.axes(group, 0)),
        go.Scatter(y=[p.load_n - p.fitted_n for p in one.points], **common, **grid.axes(group, strip)),
    ]


def _draw_fits(figure: go.Figure, passes: list[PassLoads], marks: dict[str, SetupMark], axes: dict[str, str]) -> None:
    """Each setup's fitted line, its letter where the line leads to at the right, letters kept apart."""
    ends: list[tuple[float, SetupMark]] = []
    beside = 1.03 * max((p.pressure_pa for one in passes for p in one.points), default=0.0)
    for name, mark in marks.items():
        line = fitted_line([p for one in passes if one.setup == name for p in one.points])
        if not line:
            continue
        x, y = [0.0, *(at for at, _ in line)], [0.0, *(load for _, load in line)]
        ink = {"color": LIGHT["ink"], "width": 2.2}
        figure.add_trace(go.Scatter(x=x, y=y, mode="lines", line=ink, hoverinfo="skip", **axes))
        ahead = y[-1] * beside / x[-1]
        figure.add_trace(_leader([x[-1], beside], [y[-1], ahead], axes))
        ends.append((ahead, mark))
    least = LETTER_PX * max((end for end, _ in ends), default=1.0) / LOAD_HEIGHT_PX
    for (_, mark), height in zip(ends, spread([end for end, _ in ends], least), strict=True):
        figure.add_annotation(end_letter(beside, height, mark, axes))


def _leader(x: list[float], y: list[float], axes: dict[str, str]) -> go.Scatter:
    """From the end of a fitted line on to its letter."""
    line = {"color": LIGHT["ink"], "width": 1.6, "dash": "dot"}
    return go.Scatter(x=x, y=y, mode="lines", line=line, hoverinfo="skip", **axes)


def fitted_line(points: list[LoadPoint], bands: int = 16) -> list[tuple[float, float]]:
    """(pressure, fitted load) means in bands of pressure: the fit as a line, straight where SCz is constant."""
    if not points:
        return []
    pressure, load = (np.array([getattr(p, name) for p in points]) for name in ("pressure_pa", "fitted_n"))
    place = np.floor(pressure / (pressure.max() / bands + 1e-9)).astype(int)
    return [(float(pressure[place == b].mean()), float(load[place == b].mean())) for b in np.unique(place)]


def _axes(grid: Grid, group: int, spans: dict[str, list[float]]) -> dict[str, Any]:
    found = grid.layout(group, 0, (PRESSURE, "axle load [N]"), x=spans["x"], y=spans["y"])
    for row in range(1, len(grid.heights_px)):
        found |= grid.layout(group, row, (PRESSURE, "residual [N]"), x=spans["x"], y=spans["left"])
    return found


def _spans(passes: list[PassLoads]) -> dict[str, list[float]]:
    """Shared ranges: pressure from 0 on, load, and the residual, level in the middle of its strip."""
    points = [p for one in passes for p in one.points]
    if not points:
        return {"x": [0.0, 500.0], "y": [0.0, 1000.0], "left": [-50.0, 50.0]}
    loads = [value for p in points for value in (p.load_n, p.fitted_n)]
    left = 1.15 * max(abs(p.load_n - p.fitted_n) for p in points)
    most = max(p.pressure_pa for p in points)
    loads += [p.fitted_n * most / p.pressure_pa for p in points if p.pressure_pa > 0.5 * most]
    return {"x": [0.0, 1.14 * most], "y": padded(min(0.0, *loads), max(loads)), "left": [-left, left]}
