"""Differences judged together, and a quantity over a setting that was varied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plotly import graph_objects as go

from server.analysis.compared import NORMAL_95, Compared, Difference, Varied
from server.analysis.result import Estimate
from server.figures.lines import band, outlined_line
from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.quantity import Quantity, quantity_of
from server.figures.rows import Row, rows_figure
from server.figures.table import Table
from server.figures.theme import LIGHT, SetupMark, axis
from server.testday.setting_names import axis_name, spoken

HEIGHT_PX = 420
CSV_STEP = 5  # every fifth place of the curve is told as a number
AXES = {"xaxis": "x", "yaxis": "y"}


def judged_table(compared: Compared) -> Table:
    """Every difference: alone, together, what could have been seen."""
    columns = (
        *("setup", "baseline", "quantity", "unit", "difference", "u", "low 95 %", "high 95 %"),
        *("low 95 %, all together", "high 95 %, all together", "p", "p, all together", "smallest seen"),
    )
    rows = tuple(
        (
            *(one.setup, compared.baseline, compared.quantity, compared.unit, one.value, one.u, one.low95, one.high95),
            *(one.low_all, one.high_all, one.p, one.p_all, one.smallest_seen),
        )
        for one in compared.differences
    )
    return Table(columns, rows)


def judged(compared: Compared, marks: Mapping[str, SetupMark], narrow: bool = False) -> go.Figure:
    """Each setup against the baseline; bars: intervals that all hold together, shaded: what could not be told."""
    quantity = quantity_of(compared.quantity)
    base = marks[compared.baseline].letter
    rows = [
        Row(f"{marks[one.setup].letter} − {base}", marks[one.setup], _estimate(one, quantity), strong=True)
        for one in compared.differences
    ]
    figure = rows_figure(rows, f"change of {quantity.symbol} [{quantity.unit}]", narrow)
    for place, one in enumerate(compared.differences):
        height, seen = len(rows) - 1 - place, quantity.factor * one.smallest_seen
        figure.add_shape(
            {"type": "rect", "x0": -seen, "x1": seen, "y0": height - 0.4, "y1": height + 0.4, "layer": "below"},
            fillcolor=LIGHT["shade"],
            line={"width": 0},
        )
    figure.add_shape(type="line", x0=0, x1=0, y0=0, y1=1, yref="paper", line={"color": LIGHT["ink"], "width": 2})
    return figure


def _estimate(one: Difference, quantity: Quantity) -> Estimate:
    """The difference on screen, its interval the one that holds together with the others'."""
    value, u, low, high = (quantity.factor * number for number in (one.value, one.u, one.low_all, one.high_all))
    return Estimate(value, u, low, high, quantity.unit, "measured")


def varied_table(varied: Varied) -> Table:
    """The setups that the curve is drawn from, then the curve."""
    columns = ("what", varied.setting, varied.quantity, "u", "low 95 %", "high 95 %")
    points = zip(varied.setups, varied.at, varied.values, varied.u, strict=True)
    rows = [(name, *_with_bounds(*numbers)) for name, *numbers in points]
    line = (column[::CSV_STEP] for column in varied.curve)
    rows += [("curve", *_with_bounds(*numbers)) for numbers in zip(*line, strict=True)]
    return Table(columns, tuple(rows))


def _with_bounds(x: float, value: float, u: float) -> tuple[float, float, float, float, float]:
    return float(x), float(value), float(u), float(value - NORMAL_95 * u), float(value + NORMAL_95 * u)


def varied_figure(varied: Varied, marks: Mapping[str, SetupMark], narrow: bool = False) -> go.Figure:
    """The setups' values with their intervals over the setting, the curve through them with its 95 % band."""
    quantity, first = quantity_of(varied.quantity), marks[varied.setups[0]]
    figure = new_figure(HEIGHT_PX, narrow)
    x, value, u = varied.curve
    line = [_plain(v, s, quantity) for v, s in zip(value, u, strict=True)]
    figure.add_trace(band(list(x), line, 1.0, first, AXES))
    hover = [f"{escape(spoken(varied.setting))} {a:.4g}: {one.value:.4g}" for a, one in zip(x, line, strict=True)]
    for trace in outlined_line(list(x), [one.value for one in line], first, AXES, hover):
        figure.add_trace(trace)
    for name, at, told, sure in zip(varied.setups, varied.at, varied.values, varied.u, strict=True):
        figure.add_trace(_point(name, at, _plain(told, sure, quantity), marks[name]))
    figure.update_xaxes(axis(title_text(escape(axis_name(varied.setting)), narrow)))
    figure.update_yaxes(axis(title_text(f"{quantity.symbol} [{quantity.unit}]", narrow)))
    return figure


def _plain(value: float, u: float, quantity: Quantity) -> Estimate:
    low, high = value - NORMAL_95 * u, value + NORMAL_95 * u
    numbers: Sequence[float] = [float(quantity.factor * number) for number in (value, u, low, high)]
    return Estimate(*numbers, quantity.unit, "measured")


def _point(name: str, at: float, one: Estimate, mark: SetupMark) -> go.Scatter:
    return go.Scatter(
        x=[at],
        y=[one.value],
        mode="markers+text",
        marker=circle(mark, 14),
        text=[mark.letter],
        textposition="top right",
        error_y={"type": "data", "array": [one.high95 - one.value], "color": LIGHT["ink"], "thickness": 2, "width": 7},
        hovertext=[f"{escape(name)}: {one.value:.4g} {one.unit}<br>95 %: {one.low95:.4g} to {one.high95:.4g}"],
        hovertemplate="%{hovertext}<extra></extra>",
    )
