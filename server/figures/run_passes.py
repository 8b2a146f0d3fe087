"""The passes of one run laid over each other: resistance against speed, axle loads beneath on the same speeds."""

from __future__ import annotations

from typing import Any

import numpy as np
from plotly import graph_objects as go

from server.analysis.result import DayResult, Pass, PassFit
from server.figures.fits import AXLE_WORDS, AXLES, KIND_WORDS, load_sources
from server.figures.load_points import LoadPoint, banded
from server.figures.marks import circle, escape, new_figure
from server.figures.panels import TITLE_ROOM_PX, Grid, padded
from server.figures.passes_over_speed import DIRECTION_DASH, DIRECTION_WORDS, MPS_TO_KMH, binned_resistance
from server.figures.run_values import RunFigure, TurnedDown
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

RESISTANCE_PX, LOAD_PX = 340, 190
FRAME_PX = 36 + 20
LOAD_BAND_MPS = 1.0
SQUARE = "square"


def has_run_passes(run: RunFigure) -> bool:
    """Whether there is anything to lay over each other."""
    return bool(run.down) or any(setup.fits for setup in run.result.setups)


def run_passes_table(run: RunFigure) -> Table:
    """What the figure draws, one row a point."""
    rows: list[tuple[Cell, ...]] = []
    for fit, _ in _fits(run.result):
        where = _where(fit.of)
        if fit.of.kind == "coast-down":
            points = binned_resistance(fit)
            rows += [(*where, "resistance", v * MPS_TO_KMH, measured, model) for v, measured, model in points]
        for axle, source in _panels(run.result):
            loads = _loads(fit, axle, source)
            rows += [
                (*where, f"{AXLE_WORDS[axle]} load", p.speed_mps * MPS_TO_KMH, p.load_n, p.fitted_n) for p in loads
            ]
    for one in run.down:
        pairs = zip(one.speed_mps.tolist(), one.resistance_n.tolist(), strict=True)
        rows += [(*_where(one.of), "resistance", v * MPS_TO_KMH, force, None) for v, force in pairs]
    columns = ("kind", "direction", "pass start [s]", "used", "what", "speed [km/h]", "measured [N]", "model [N]")
    return Table(columns, tuple(rows))


def _where(of: Pass) -> tuple[Cell, ...]:
    return KIND_WORDS[of.kind], DIRECTION_WORDS[of.direction], of.start_s, "used" if of.used else "turned down"


def run_passes(run: RunFigure, narrow: bool = False) -> go.Figure:
    """Resistance of each pass (circles) with the model (out solid, back dashed); crosses: turned down.

    Beneath, where loads were measured, a panel an axle: coast-downs circles, constant speed squares, the fit a line.
    """
    panels = _panels(run.result)
    grid = Grid(1, (RESISTANCE_PX, *(LOAD_PX for _ in panels)), narrow)
    figure = new_figure(grid.height_px + TITLE_ROOM_PX + FRAME_PX, narrow)
    span = _speeds(run)
    fits = _fits(run.result)
    coasts = [(fit, mark) for fit, mark in fits if fit.of.kind == "coast-down"]
    axes = grid.axes(0, 0)
    figure.add_traces([_crosses(one, axes) for one in run.down])
    figure.add_traces([_resistance(fit, mark, axes) for fit, mark in coasts])
    figure.add_traces([_model(fit, axes) for fit, _ in coasts])
    figure.update_layout(grid.layout(0, 0, ("speed [km/h]", "resistance [N]"), x=span, y=_forces(run)))
    for row, (axle, source) in enumerate(panels, start=1):
        for fit, mark in fits:
            figure.add_traces(_load(fit, _loads(fit, axle, source), mark, grid.axes(0, row)))
        figure.update_layout(grid.layout(0, row, ("speed [km/h]", "load [N]"), x=span))
        figure.add_annotation(grid.title(0, row, AXLE_WORDS[axle]))
    return figure


def _fits(result: DayResult) -> list[tuple[PassFit, SetupMark]]:
    marks = setup_marks([setup.name for setup in result.setups])
    return [(fit, marks[setup.name]) for setup in result.setups for fit in setup.fits]


def _panels(result: DayResult) -> list[tuple[Any, Any]]:
    """Axle and source of each panel of loads: of the first source that this run has."""
    sources = load_sources(result)
    return [(axle, sources[0]) for axle in AXLES] if sources else []


def _loads(fit: PassFit, axle: str, source: str) -> list[LoadPoint]:
    """Means of a pass's load over bands of speed."""
    mine = [one for one in fit.loads if (one.axle, one.source) == (axle, source) and one.load_n.size]
    return [point for one in mine for point in banded(one, one.speed_mps, LOAD_BAND_MPS)]


def _name(of: Pass) -> str:
    return f"{KIND_WORDS[of.kind]} {DIRECTION_WORDS[of.direction]} from {of.start_s:.1f} s"


def _points(of: Pass, x: list[float], y: list[float], marker: dict[str, Any], axes: dict[str, str]) -> go.Scatter:
    name = _name(of)
    return go.Scatter(
        x=x,
        y=y,
        mode="markers",
        marker=marker,
        name=name,
        hovertemplate="%{x:.0f} km/h, %{y:.0f} N measured<extra>" + name + "</extra>",
        **axes,
    )


def _resistance(fit: PassFit, mark: SetupMark, axes: dict[str, str]) -> go.Scatter:
    binned = binned_resistance(fit)
    speed, force = [MPS_TO_KMH * one[0] for one in binned], [one[1] for one in binned]
    return _points(fit.of, speed, force, circle(mark, 9), axes)


def _model(fit: PassFit, axes: dict[str, str]) -> go.Scatter:
    binned, name = binned_resistance(fit), _name(fit.of)
    return go.Scatter(
        x=[MPS_TO_KMH * one[0] for one in binned],
        y=[one[2] for one in binned],
        mode="lines",
        name=name,
        line={"color": LIGHT["ink"], "width": 1.8, "dash": DIRECTION_DASH[fit.of.direction]},
        hovertemplate="%{x:.0f} km/h, %{y:.0f} N by the model<extra>" + name + "</extra>",
        **axes,
    )


def _crosses(one: TurnedDown, axes: dict[str, str]) -> go.Scatter:
    cross = {"symbol": "x-thin", "size": 9, "line": {"color": LIGHT["ink"], "width": 2}}
    speed, force = (MPS_TO_KMH * one.speed_mps).tolist(), one.resistance_n.tolist()
    trace = _points(one.of, speed, force, cross, axes)
    reason = escape(one.of.reason).replace("%{", "% {")
    trace.hovertemplate = f"%{{x:.0f}} km/h, %{{y:.0f}} N, turned down: {reason}<extra>{_name(one.of)}</extra>"
    return trace


def _load(fit: PassFit, points: list[LoadPoint], mark: SetupMark, axes: dict[str, str]) -> list[go.Scatter]:
    if not points:
        return []
    speed = [MPS_TO_KMH * p.speed_mps for p in points]
    marker = circle(mark, 8) if fit.of.kind == "coast-down" else {**circle(mark, 11), "symbol": SQUARE}
    line = {"color": LIGHT["ink"], "width": 1.8, "dash": DIRECTION_DASH[fit.of.direction]}
    fitted = [p.fitted_n for p in points]
    drawn = go.Scatter(x=speed, y=fitted, mode="lines", line=line, hoverinfo="skip", **axes)
    return [_points(fit.of, speed, [p.load_n for p in points], marker, axes), drawn]


def _speeds(run: RunFigure) -> list[float]:
    """The speeds that all panels show."""
    fits = [fit for fit, _ in _fits(run.result)]
    found = [fit.speed_mps[np.isfinite(fit.speed_mps)] for fit in fits] + [one.speed_mps for one in run.down]
    all_of_them = np.concatenate([*found, np.empty(0)])
    if not all_of_them.size:
        return [0.0, 100.0]
    return [MPS_TO_KMH * float(all_of_them.min()) - 3.0, MPS_TO_KMH * float(all_of_them.max()) + 3.0]


def _forces(run: RunFigure) -> list[float]:
    """The range of resistance: all of the passes that are used, nine tenths of those turned down."""
    coasts = [fit for fit, _ in _fits(run.result) if fit.of.kind == "coast-down"]
    used = [value for fit in coasts for one in binned_resistance(fit) for value in one[1:]]
    down = np.concatenate([*(one.resistance_n for one in run.down), np.empty(0)])
    ends = used + (np.quantile(down, [0.05, 0.95]).tolist() if down.size else [])
    return padded(min(0.0, *ends), max(ends)) if len(ends) > 1 else [0.0, 1000.0]
