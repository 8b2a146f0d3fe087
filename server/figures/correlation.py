"""Measured beside predicted, a row a setup."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plotly import graph_objects as go

from server.analysis.correlated import Correlated
from server.analysis.result import Estimate
from server.figures.marks import escape, measured_points, new_figure, row_label, thick_u_bars, title_text
from server.figures.predicted_marks import AXES, predicted_points, scaled
from server.figures.quantity import quantity_of
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, axis

ROW_PX, NARROW_ROW_PX, FRAME_PX = 56, 64, 110
APART = 0.17  # of a row: measured above, predicted below
Marks = Mapping[str, SetupMark]


def _measured(one: Correlated) -> Estimate:
    factor = quantity_of(one.quantity).factor
    low, high = factor * one.measured.low95, factor * one.measured.high95
    return Estimate(factor * one.measured.value, factor * one.measured.u, low, high, "", "measured")


def row_name(one: Correlated) -> str:
    """The setup, and for a change what it is against."""
    return one.setup if one.against is None else f"{one.setup} − {one.against}"


def beside(held: Sequence[Correlated], marks: Marks, words: Mapping[str, str], narrow: bool = False) -> go.Figure:
    """A row a setup: measured, a filled circle; beneath it predicted, a hollow diamond. words: of the verdicts."""
    figure = new_figure(FRAME_PX + (NARROW_ROW_PX if narrow else ROW_PX) * max(1, len(held)), narrow)
    rows = {id(one): len(held) - 1 - place for place, one in enumerate(held)}
    measured = [(one, _measured(one), rows[id(one)] + APART) for one in held]
    predicted = [
        (one, scaled(one.predicted, one.predicted_u, one.quantity), rows[id(one)] - APART)
        for one in held
        if one.predicted is not None
    ]
    for told, word, points in ((measured, "measured", measured_points), (predicted, "predicted", predicted_points)):
        if told:
            values, places = [value for _, value, _ in told], [row for _, _, row in told]
            hover = [_hover(f"{row_name(one)} {word}", value) for one, value, _ in told]
            figure.add_trace(thick_u_bars(values, places, AXES))
            trace = points(values, places, marks[held[0].setup], hover=hover, axes=AXES)
            hues = [marks[one.setup].hue for one, _, _ in told]
            trace.marker.update({"color": hues} if word == "measured" else {"line": {"color": hues, "width": 3}})
            figure.add_trace(trace)
    ticks = list(range(len(held) - 1, -1, -1))
    labels = [row_label(f"{row_name(one)}: {words[one.verdict]}", narrow) for one in held]
    title = f"{quantity_of(held[0].quantity).symbol} [{quantity_of(held[0].quantity).unit}]" if held else ""
    if held and held[0].against is not None:
        title = f"change of {title}"
        figure.add_shape(type="line", x0=0, x1=0, y0=0, y1=1, yref="paper", line={"color": LIGHT["ink"], "width": 2})
    figure.update_xaxes(axis(title_text(title, narrow), nticks=4 if narrow else 7))
    figure.update_yaxes(axis("", tickvals=ticks, ticktext=labels, range=[-0.7, len(held) - 0.3], showgrid=False))
    return figure


def _hover(words: str, one: Estimate) -> str:
    return f"{escape(words)} {one.value:.4g}<br>95 %: {one.low95:.4g} to {one.high95:.4g}"


COLUMNS = (
    *("setup", "against", "quantity", "unit", "measured", "u measured", "predicted", "u predicted", "E = S − D"),
    *("u_val", "E low 95 %", "E high 95 %", "u mesh", "u between cases", "u ride heights", "margin", "verdict", "how"),
)


def beside_table(held: Sequence[Correlated], words: Mapping[str, str]) -> Table:
    """Every verdict with all that it is made of, in SI."""
    return Table(COLUMNS, tuple(_row(one, words) for one in held))


def _row(one: Correlated, words: Mapping[str, str]) -> tuple[Cell, ...]:
    told: list[Cell] = [None] * 9
    if one.predicted is not None:
        parts = (one.u_num, one.u_fit, one.u_input)
        told = [one.predicted, one.predicted_u, one.E, one.u_val, one.low95, one.high95, *parts]
    unit = one.unit if one.unit not in ("", "–") else "1"
    head = (one.setup, one.against or "", one.quantity, unit, one.measured.value, one.measured.u)
    return (*head, *told, one.margin, words[one.verdict], one.how)
