"""Predicted over measured, all setups in one square."""

from __future__ import annotations

import math
from collections.abc import Mapping

from plotly import graph_objects as go

from server.analysis.correlated import NORMAL_95, Across
from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.predicted_marks import bar
from server.figures.quantity import quantity_of
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, axis

SQUARE_PX = 520
LETTERS = 30  # setups that get a letter at their point
Marks = Mapping[str, SetupMark]


def unity(found: Across, marks: Marks, narrow: bool = False) -> go.Figure:
    """Predicted over measured with both 95 % bars; the dashed line is where they are equal, the plain one York's."""
    on_screen = quantity_of(found.pairs.quantity)
    figure = new_figure(SQUARE_PX, narrow)
    low, high = _span(found)
    ends = {"x0": low, "x1": high, "y0": low, "y1": high}
    figure.add_shape(ends, type="line", line={"color": LIGHT["ink"], "width": 2, "dash": "dash"})
    figure.add_annotation(x=high, y=high, text="equal", showarrow=False, xanchor="right", yanchor="top", yshift=-14)
    figure.add_trace(_points(found, marks))
    if found.line is not None:
        line = [on_screen.factor * found.line.intercept + found.line.slope * x for x in (low, high)]
        drawn = {"color": LIGHT["ink"], "width": 2}
        figure.add_trace(go.Scatter(x=[low, high], y=line, mode="lines", line=drawn, hoverinfo="skip"))
    unit = on_screen.unit
    figure.update_xaxes(axis(title_text(f"measured {on_screen.symbol} [{unit}]", narrow), range=[low, high], nticks=6))
    figure.update_yaxes(axis(title_text(f"predicted {on_screen.symbol} [{unit}]", narrow), range=[low, high], nticks=6))
    return figure


def _span(found: Across) -> tuple[float, float]:
    factor, pairs = quantity_of(found.pairs.quantity).factor, found.pairs
    ends = [
        factor * float(value + sign * NORMAL_95 * u)
        for values, us in ((pairs.measured, pairs.measured_u), (pairs.predicted, pairs.predicted_u))
        for value, u in zip(values, us, strict=True)
        for sign in (-1.0, 1.0)
    ] or [0.0, 1.0]
    margin = 0.08 * (max(ends) - min(ends)) or 0.1
    return min(ends) - margin, max(ends) + margin


def _points(found: Across, marks: Marks) -> go.Scatter:
    """Every setup with its letter and both bars, in one trace: forty of them would be slow to draw one by one."""
    pairs, factor = found.pairs, quantity_of(found.pairs.quantity).factor
    of = [marks[name] for name in pairs.setups]
    x, y = ([factor * float(each) for each in values] for values in (pairs.measured, pairs.predicted))
    across, up = ([factor * NORMAL_95 * float(u) for u in us] for us in (pairs.measured_u, pairs.predicted_u))
    told = zip(pairs.setups, x, across, y, up, strict=True)
    hover = [f"{escape(name)}: measured {a:.4g} ± {b:.2g}, predicted {c:.4g} ± {d:.2g}" for name, a, b, c, d in told]
    return go.Scatter(
        x=x, y=y, mode="markers+text", marker=circle(of[0], 14) | {"color": [mark.hue for mark in of]},
        text=[mark.letter if len(of) <= LETTERS else "" for mark in of], textposition="top left",
        error_x=bar(across), error_y=bar(up), hovertext=hover, hovertemplate="%{hovertext}<extra></extra>",
    )  # fmt: skip


def unity_table(found: Across) -> Table:
    """The points, then what they say together: each with its 95 % interval, in SI."""
    pairs = found.pairs
    columns = ("what", "measured or value", "u or low 95 %", "predicted or high 95 %", "u predicted")
    points = zip(pairs.setups, pairs.measured, pairs.measured_u, pairs.predicted, pairs.predicted_u, strict=True)
    rows: list[tuple[Cell, ...]] = [(f"setup {name}", *(float(one) for one in numbers)) for name, *numbers in points]
    for words, one in (("bias E", found.bias), ("bias E/D", found.relative), ("factor D/S", found.factor)):
        if one is not None:
            rows.append((words, one.value, one.low95, one.high95, None))
            scatter = (one.scatter, one.scatter_low95, one.scatter_high95)
            rows.append((f"scatter of one setup about the {words}", *scatter, None))
    if found.line is not None:
        rows.append(("slope, predicted over measured", found.line.slope, found.line.low95, found.line.high95, None))
        rows.append(("intercept", found.line.intercept, None, None, None))
    if found.limits is not None:
        limits = found.limits
        rows.append(("lower limit of agreement", limits.lower, limits.lower_low95, limits.lower_high95, None))
        rows.append(("upper limit of agreement", limits.upper, limits.upper_low95, limits.upper_high95, None))
    if found.order is not None and not math.isnan(found.order.tau):
        rows.append(("Kendall τ, its p", found.order.tau, found.order.tau_p, None, None))
        rows.append(("Spearman ρ, its p", found.order.rho, found.order.rho_p, None, None))
    return Table(columns, tuple(rows))
