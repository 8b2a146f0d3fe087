"""A quantity over two settings: contours of the surface through the setups, where they were tried and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from plotly import graph_objects as go

from server.analysis.compared import NORMAL_95, Surface
from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.quantity import Quantity, quantity_of
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, axis
from server.testday.setting_names import axis_name

HEIGHT_PX = 520
CSV_STEP = 4  # every fourth place each way is told as numbers
LEVELS = 8


def surface_table(surface: Surface) -> Table:
    """The setups that the surface goes through, then the surface, then where its slope is zero."""
    columns = ("what", *surface.settings, surface.quantity, "u", "low 95 %", "high 95 %", "may be the stationary place")
    rows: list[tuple[Cell, ...]] = [
        (name, float(x), float(y), *_bounds(float(value), float(u)), "")
        for name, (x, y), value, u in zip(surface.setups, surface.at, surface.values, surface.u, strict=True)
    ]
    for row in range(0, len(surface.y), CSV_STEP):
        for column in range(0, len(surface.x), CSV_STEP):
            value, u = float(surface.surface[row, column]), float(surface.surface_u[row, column])
            if np.isfinite(value):
                may = "yes" if surface.region[row, column] > 0.0 else "no"
                rows.append(("surface", float(surface.x[column]), float(surface.y[row]), *_bounds(value, u), may))
    best = surface.best
    if surface.inside and best is not None and best.setting is not None:
        rows.append((surface.shape.bend, *(float(one) for one in best.setting), None, None, None, None, "yes"))
    return Table(columns, tuple(rows))


def _bounds(value: float, u: float) -> tuple[float, float, float, float]:
    return value, u, value - NORMAL_95 * u, value + NORMAL_95 * u


def surface_figure(surface: Surface, marks: Mapping[str, SetupMark], narrow: bool = False) -> go.Figure:
    """Contour lines with their values, setups by letter, the best with its 95 % region dashed."""
    quantity = quantity_of(surface.quantity)
    figure = new_figure(HEIGHT_PX, narrow)
    figure.add_trace(_contours(surface, quantity))
    best = surface.best
    if surface.inside and best is not None and best.setting is not None:
        figure.add_trace(_region(surface))
        figure.add_trace(_best(surface, best.setting))
    for name, at, value, u in zip(surface.setups, surface.at, surface.values, surface.u, strict=True):
        told = f"{escape(name)}: {quantity.factor * value:.4g} ± {quantity.factor * NORMAL_95 * u:.2g} {quantity.unit}"
        figure.add_trace(_setup(at, marks[name], told))
    titles = [title_text(escape(axis_name(one)), narrow) for one in surface.settings]
    figure.update_xaxes(axis(titles[0]))
    figure.update_yaxes(axis(titles[1]))
    return figure


def _contours(surface: Surface, quantity: Quantity) -> go.Contour:
    value, u = quantity.factor * surface.surface, quantity.factor * surface.surface_u
    hover = [
        [f"{quantity.symbol} {one:.4g} ± {NORMAL_95 * sure:.2g} {quantity.unit}" if np.isfinite(one) else ""
         for one, sure in zip(values, sures, strict=True)]
        for values, sures in zip(value, u, strict=True)
    ]  # fmt: skip
    return go.Contour(
        x=list(surface.x),
        y=list(surface.y),
        z=_without_nan(value),
        contours={"coloring": "none", "showlabels": True, "labelfont": {"size": 14, "color": LIGHT["ink"]}},
        ncontours=LEVELS,
        line={"color": LIGHT["ink"], "width": 2, "smoothing": 1.0},
        showscale=False,
        connectgaps=False,
        text=hover,
        hovertemplate="%{text}<extra></extra>",
    )


def _region(surface: Surface) -> go.Contour:
    return go.Contour(
        x=list(surface.x),
        y=list(surface.y),
        z=_without_nan(surface.region),
        contours={"coloring": "none", "start": 0.5, "end": 0.5, "size": 1.0},
        line={"color": LIGHT["ink"], "width": 3, "dash": "dash"},
        showscale=False,
        hoverinfo="skip",
    )


def _best(surface: Surface, setting: np.ndarray) -> go.Scatter:
    return go.Scatter(
        x=[float(setting[0])],
        y=[float(setting[1])],
        mode="markers",
        marker={"symbol": "cross-thin", "size": 22, "line": {"width": 4, "color": LIGHT["ink"]}},
        hovertext=[f"{surface.shape.bend} at {setting[0]:.4g}, {setting[1]:.4g}"],
        hovertemplate="%{hovertext}<extra></extra>",
    )


def _setup(at: np.ndarray, mark: SetupMark, told: str) -> go.Scatter:
    return go.Scatter(
        x=[float(at[0])],
        y=[float(at[1])],
        mode="markers+text",
        marker=circle(mark, 14),
        text=[mark.letter],
        textposition="top right",
        cliponaxis=False,
        hovertext=[told],
        hovertemplate="%{hovertext}<extra></extra>",
    )


def _without_nan(numbers: np.ndarray) -> list[list[float | None]]:
    return [[float(one) if np.isfinite(one) else None for one in row] for row in numbers]
