"""Passes laid over each other: measured resistance against speed and the model over it, a panel a setup."""

from __future__ import annotations

from typing import Any

import numpy as np
from plotly import graph_objects as go

from server.analysis.result import DayResult, PassFit, SetupResult
from server.figures.fits import coast_fits
from server.figures.marks import circle, escape, new_figure
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, axis, setup_marks

BIN_WIDTH_MPS = 1.0
MPS_TO_KMH = 3.6
PANEL_HEIGHT_PX = 400
GAP_PX = 56
DIRECTION_WORDS = {1: "out", -1: "back", 0: "direction unknown"}
DIRECTION_DASH = {1: "solid", -1: "dash", 0: "dot"}


def binned_resistance(fit: PassFit) -> list[tuple[float, float, float]]:
    """Mean (speed [m/s], measured resistance [N], model's [N]) in speed bins of `BIN_WIDTH_MPS`.

    A differentiated speed is too noisy to show reading by reading; a bin's mean keeps what it is about.
    """
    usable = np.isfinite(fit.speed_mps) & np.isfinite(fit.resistance_n)
    speed, measured, model = (a[usable] for a in (fit.speed_mps, fit.resistance_n, fit.model_resistance_n))
    bins = np.floor(speed / BIN_WIDTH_MPS).astype(int)
    return [
        (
            float(speed[bins == one].mean()),
            float(measured[bins == one].mean()),
            float(model[bins == one].mean()),
        )
        for one in np.unique(bins)
    ]


def passes_over_speed_table(result: DayResult) -> Table:
    """What the figure draws, one row a point."""
    rows: list[tuple[Cell, ...]] = []
    for setup in result.setups:
        for fit in coast_fits(setup):
            for speed, measured, model in binned_resistance(fit):
                where = (setup.name, fit.of.run, DIRECTION_WORDS[fit.of.direction], fit.of.start_s)
                rows.append((*where, speed * MPS_TO_KMH, measured, model))
    columns = (
        "setup",
        "run",
        "direction",
        "pass start [s]",
        "speed [km/h]",
        "measured resistance [N]",
        "model [N]",
    )
    return Table(columns, tuple(rows))


def passes_over_speed(result: DayResult, narrow: bool = False) -> go.Figure:
    """Measured resistance of each pass (circles), the model without gusts (lines: out solid, back dashed)."""
    marks = setup_marks([setup.name for setup in result.setups])
    shown = [setup for setup in result.setups if coast_fits(setup)]
    columns = 1 if narrow else min(3, max(1, len(shown)))
    rows = max(1, -(-len(shown) // columns))
    figure = new_figure(PANEL_HEIGHT_PX * rows + 20, narrow)
    span = _shared_ranges(shown)
    for place, setup in enumerate(shown):
        suffix = "" if place == 0 else str(place + 1)
        figure.add_traces(_panel(setup, marks[setup.name], {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}))
        figure.update_layout(_panel_axes(place, rows, columns, span, len(shown)))
        figure.add_annotation(_panel_title(setup, marks[setup.name], suffix))
    return figure


def _panel(setup: SetupResult, mark: SetupMark, axes: dict[str, str]) -> list[go.Scatter]:
    points, lines = [], []
    for fit in coast_fits(setup):
        binned = binned_resistance(fit)
        speed = [one[0] * MPS_TO_KMH for one in binned]
        name = f"setup {escape(setup.name)}, run {fit.of.run} {DIRECTION_WORDS[fit.of.direction]}"
        points.append(
            go.Scatter(
                x=speed,
                y=[one[1] for one in binned],
                mode="markers",
                marker=circle(mark, 8),
                name=name,
                hovertemplate="%{x:.0f} km/h, %{y:.0f} N measured<extra>" + name + "</extra>",
                **axes,
            )
        )
        lines.append(
            go.Scatter(
                x=speed,
                y=[one[2] for one in binned],
                mode="lines",
                name=name,
                line={"color": LIGHT["ink"], "width": 1.8, "dash": DIRECTION_DASH[fit.of.direction]},
                hovertemplate="%{x:.0f} km/h, %{y:.0f} N by the model<extra>" + name + "</extra>",
                **axes,
            )
        )
    return points + lines


def _shared_ranges(setups: list[SetupResult]) -> tuple[list[float], list[float]]:
    points = [one for setup in setups for fit in coast_fits(setup) for one in binned_resistance(fit)]
    if not points:
        return [0.0, 100.0], [0.0, 1000.0]
    speed = [one[0] * MPS_TO_KMH for one in points]
    force = [value for one in points for value in one[1:]]
    gap = 0.06 * (max(force) - min(force) + 1.0)
    return [min(speed) - 3.0, max(speed) + 3.0], [min(0.0, min(force) - gap), max(force) + gap]


def _panel_axes(place: int, rows: int, columns: int, span: tuple[list[float], list[float]], n: int) -> dict[str, Any]:
    row, column = divmod(place, columns)
    width, height = 1.0 / columns, 1.0 / rows
    gap_x, gap_y = (0.04 if column else 0.0), (GAP_PX / (PANEL_HEIGHT_PX * rows) if rows > 1 else 0.0)
    suffix = "" if place == 0 else str(place + 1)
    top = 1.0 - row * height
    last_in_column = place + columns >= n
    return {
        f"xaxis{suffix}": axis(
            "speed [km/h]" if last_in_column else "",
            range=span[0],
            anchor=f"y{suffix}",
            domain=[column * width + gap_x, (column + 1) * width],
        ),
        f"yaxis{suffix}": axis(
            "resistance [N]" if column == 0 else "",
            range=span[1],
            anchor=f"x{suffix}",
            domain=[top - height + gap_y, top - (gap_y / 2 if row else 0.0)],
            showticklabels=column == 0,
        ),
    }


def _panel_title(setup: SetupResult, mark: SetupMark, suffix: str) -> dict[str, Any]:
    used = len(coast_fits(setup))
    name = f"{mark.letter}" if setup.name == mark.letter else f"{mark.letter}: {escape(setup.name)}"
    return {
        "text": f"{name}, {used} passes",
        "x": 0.03,
        "y": 0.98,
        "showarrow": False,
        "font": {"weight": 700},
        "xref": f"x{suffix} domain",
        "yref": f"y{suffix} domain",
        "xanchor": "left",
        "yanchor": "top",
        "bgcolor": LIGHT["paper"],
        "bordercolor": mark.hue,
        "borderwidth": 3,
        "borderpad": 4,
    }
