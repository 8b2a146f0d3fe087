"""Rows of estimates beside each other: the form of the forest plot, the comparisons and the two methods."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from plotly import graph_objects as go

from server.analysis.result import Delta, Estimate
from server.figures.marks import escape, measured_points, new_figure, row_label, thick_u_bars, title_text
from server.figures.theme import LIGHT, SetupMark, axis

ROW_HEIGHT_PX = 34
NARROW_ROW_HEIGHT_PX = 42  # labels of two lines
FRAME_HEIGHT_PX = 110
TICKS, NARROW_TICKS = 7, 4  # at most
NOTE_SIGNS, NARROW_NOTE_SIGNS = 60, 22
AXES = {"xaxis": "x", "yaxis": "y"}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the figure; without a value the row stays visible, crossed, with its reason as the note."""

    label: str
    mark: SetupMark
    value: Estimate | Delta | None
    strong: bool = False
    note: str = ""


def rows_figure(rows: Sequence[Row], axis_title: str, narrow: bool = False) -> go.Figure:
    """Estimates from top to bottom with shared x: circles with capped 95 % bars, thick at one u."""
    row_height = NARROW_ROW_HEIGHT_PX if narrow else ROW_HEIGHT_PX
    figure = new_figure(FRAME_HEIGHT_PX + row_height * max(1, len(rows)), narrow)
    heights = {id(row): len(rows) - 1 - place for place, row in enumerate(rows)}
    valued = [row for row in rows if row.value is not None]
    if valued:
        values = [row.value for row in valued if row.value is not None]
        figure.add_trace(thick_u_bars(values, [heights[id(row)] for row in valued], AXES))
    for row in valued:
        hover = [_hover(row)]
        size = 17 if row.strong else 12
        figure.add_trace(
            measured_points([row.value], [heights[id(row)]], row.mark, hover=hover, axes=AXES, size_px=size)
        )
    for row in rows:
        if row.value is None:
            figure.add_annotation(_crossed(row, heights[id(row)], narrow))
    ticks = [heights[id(row)] for row in rows]
    labels = [row_label(row.label, narrow) for row in rows]
    figure.update_xaxes(axis(title_text(axis_title, narrow), nticks=NARROW_TICKS if narrow else TICKS))
    figure.update_yaxes(axis("", tickvals=ticks, ticktext=labels, range=[-0.7, len(rows) - 0.3], showgrid=False))
    return figure


def _hover(row: Row) -> str:
    value = row.value
    assert value is not None
    lines = [
        f"{escape(row.label)}: {value.value:.4g} {value.unit}",
        f"95 %: {value.low95:.4g} to {value.high95:.4g}",
        f"u {value.u:.2g}",
        escape(row.note),
    ]
    return "<br>".join(line for line in lines if line)


def _crossed(row: Row, height: float, narrow: bool) -> dict[str, object]:
    note = textwrap.shorten(row.note, NOTE_SIGNS, placeholder="…")
    lines = textwrap.wrap(note, NARROW_NOTE_SIGNS, max_lines=2, placeholder="…") if narrow else [note]
    return {
        "text": "<br>".join(escape(line) for line in [f"✕ {lines[0] if lines else ''}", *lines[1:]]),
        "align": "left",
        "x": 0.01,
        "xref": "x domain",
        "y": height,
        "yref": "y",
        "showarrow": False,
        "xanchor": "left",
        "bgcolor": LIGHT["paper"],
    }
