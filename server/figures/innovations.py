"""Innovations: how far each speed reading lay from the filter's one-step prediction, in units of its u."""

from __future__ import annotations

from typing import Any

import numpy as np
from plotly import graph_objects as go

from server.analysis.result import DayResult, PassFit
from server.figures.fits import coast_fits
from server.figures.lines import level
from server.figures.marks import circle, escape, new_figure
from server.figures.passes_over_speed import DIRECTION_WORDS
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, axis, setup_marks

MOST_POINTS_A_PASS = 150
LAGS = 20
NORMAL_95 = 1.959964
HEIGHT_PX = 380
LEFT, RIGHT = {"xaxis": "x", "yaxis": "y"}, {"xaxis": "x2", "yaxis": "y2"}


def pooled_autocorrelation(fits: list[PassFit], lags: int = LAGS) -> tuple[list[float], int]:
    """Autocorrelation r_k = Σ z_t z_{t+k} / Σ z_t² for k = 1..lags over all passes, and their number.

    Sums run within passes, never across their ends; the mean is taken as the zero it should be.
    """
    series = [fit.innovations[np.isfinite(fit.innovations)] for fit in fits]
    power = sum(float(z @ z) for z in series)
    if power == 0.0:
        return [], 0
    pooled = [sum(float(z[:-k] @ z[k:]) for z in series if z.size > k) / power for k in range(1, lags + 1)]
    return pooled, sum(z.size for z in series)


def innovations_table(result: DayResult) -> Table:
    """Every innovation, one row a reading."""
    rows: list[tuple[Cell, ...]] = [
        (setup.name, fit.of.run, DIRECTION_WORDS[fit.of.direction], float(t), float(z))
        for setup in result.setups
        for fit in coast_fits(setup)
        for t, z in zip(fit.innovation_time_s, fit.innovations, strict=True)
    ]
    return Table(("setup", "run", "direction", "run clock [s]", "innovation [u]"), tuple(rows))


def innovations(result: DayResult, narrow: bool = False) -> go.Figure:
    """Innovations against time in the pass, and how like the next ones each is (0 for a complete model)."""
    figure = new_figure(2 * HEIGHT_PX if narrow else HEIGHT_PX, narrow)
    marks = setup_marks([setup.name for setup in result.setups])
    for setup in result.setups:
        for fit in coast_fits(setup):
            figure.add_trace(_points(fit, setup.name, circle(marks[setup.name], 6)))
    values, n = pooled_autocorrelation([fit for setup in result.setups for fit in coast_fits(setup)])
    if values:
        figure.add_trace(_autocorrelation_bars(values))
        for sign in (-1, 1):
            figure.add_shape(level(sign * NORMAL_95 / n**0.5, RIGHT))
            figure.add_shape(level(sign * NORMAL_95, LEFT))
    most = max([0.25, *(1.1 * abs(value) for value in values)])
    figure.update_layout(_axes(narrow, _farthest(result), most))
    return figure


def _farthest(result: DayResult) -> float:
    """Half the span of the axis: every innovation is on it."""
    found = [np.nanmax(np.abs(fit.innovations), initial=0.0) for s in result.setups for fit in coast_fits(s)]
    return 1.05 * max([4.0, *map(float, found)])


def _points(fit: PassFit, setup: str, marker: dict[str, Any]) -> go.Scatter:
    step = max(1, fit.innovations.size // MOST_POINTS_A_PASS)
    name = f"setup {escape(setup)}, run {fit.of.run} {DIRECTION_WORDS[fit.of.direction]}"
    return go.Scatter(
        x=fit.innovation_time_s[::step] - fit.of.start_s,
        y=fit.innovations[::step],
        mode="markers",
        name=name,
        marker={**marker, "line": {"color": LIGHT["ink"], "width": 0.8}},
        hovertemplate="%{x:.1f} s, %{y:.2f}<extra>" + name + "</extra>",
        **LEFT,
    )


def _autocorrelation_bars(values: list[float]) -> go.Bar:
    return go.Bar(
        x=list(range(1, len(values) + 1)),
        y=values,
        marker={"color": LIGHT["ink"]},
        width=0.5,
        hovertemplate="lag %{x}: %{y:.3f}<extra></extra>",
        **RIGHT,
    )


def _axes(narrow: bool, farthest: float, most: float) -> dict[str, Any]:
    left, right = ([0.0, 1.0], [0.0, 1.0]) if narrow else ([0.0, 0.62], [0.72, 1.0])
    top, bottom = ([0.58, 1.0], [0.0, 0.42]) if narrow else ([0.0, 1.0], [0.0, 1.0])
    return {
        "xaxis": axis("time in the pass [s]", domain=left, anchor="y"),
        "yaxis": axis("innovation [u]", domain=top, anchor="x", range=[-farthest, farthest]),
        "xaxis2": axis("lag [readings]", domain=right, anchor="y2"),
        "yaxis2": axis("autocorrelation", domain=bottom, anchor="x2", range=[-most, most]),
    }
