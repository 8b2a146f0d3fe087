"""How far predictions were off over the days, by recipe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plotly import graph_objects as go

from server.analysis.correlated import NORMAL_95
from server.figures.correlation_points import TrendPoint
from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.predicted_marks import bar
from server.figures.table import Table
from server.figures.theme import LIGHT, SetupMark, axis

FEW_DATES = 3  # below it days stand side by side: an axis of dates would show hours
Marks = Mapping[str, SetupMark]


SYMBOLS = ("circle", "square", "diamond", "triangle-up", "star", "x")


def trend(points: Sequence[TrendPoint], marks: Marks, margin: float, narrow: bool = False) -> go.Figure:
    """How far the prediction was off, day by day: a shape a recipe, a colour and letter a setup; shaded: the margin."""
    figure = new_figure(420, narrow)
    recipes = list(dict.fromkeys(one.recipe for one in points))
    for place, recipe in enumerate(recipes):
        mine = [one for one in points if one.recipe == recipe]
        figure.add_trace(_points(mine, marks, SYMBOLS[place % len(SYMBOLS)]))
    if len(recipes) > 1:
        figure.update_layout(showlegend=True, legend={"orientation": "h", "yanchor": "bottom", "y": 1.0, "x": 0.0})
    allowed = {"y0": -100.0 * margin, "y1": 100.0 * margin}
    figure.add_shape(
        allowed, type="rect", xref="paper", x0=0, x1=1, layer="below", fillcolor=LIGHT["shade"], line={"width": 0}
    )
    kind = "category" if len({one.day for one in points}) < FEW_DATES else "date"
    figure.update_xaxes(axis("day", type=kind, nticks=3 if narrow else 7))
    figure.update_yaxes(axis(title_text("prediction less measurement [% of it]", narrow)))
    return figure


def _points(points: Sequence[TrendPoint], marks: Marks, symbol: str) -> go.Scatter:
    """All days and setups of one recipe."""
    of = [marks[one.setup] for one in points]
    marker = circle(of[0], 13) | {"symbol": symbol, "color": [mark.hue for mark in of]}
    return go.Scatter(
        x=[one.day.isoformat() for one in points], y=[100.0 * one.share for one in points], mode="markers+text",
        name=escape(points[0].recipe), marker=marker, text=[mark.letter for mark in of], textposition="middle right",
        cliponaxis=False, error_y=bar([100.0 * NORMAL_95 * one.u for one in points]),
        hovertext=[_hover(one) for one in points], hovertemplate="%{hovertext}<extra></extra>",
    )  # fmt: skip


def _hover(one: TrendPoint) -> str:
    told = f"{100 * one.share:.1f} ± {100 * NORMAL_95 * one.u:.1f} %"
    return escape(f"{one.day_name}, {one.setup}: {told}, {one.recipe}")


def trend_table(points: Sequence[TrendPoint]) -> Table:
    """What the figure draws."""
    rows = ((one.day.isoformat(), one.day_name, one.setup, one.recipe, one.share, one.u) for one in points)
    return Table(("date", "day", "setup", "recipe", "E/D", "u"), tuple(rows))
