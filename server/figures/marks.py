"""Marks that mean one thing: measured is a filled circle, its interval a bar, capped at 95 %, thick at u."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from typing import Any

from plotly import graph_objects as go

from server.analysis.result import Delta, Estimate
from server.figures.theme import LIGHT, NARROW_FONT_SIZE, SetupMark, layout

Interval = Estimate | Delta
NARROW_LABEL_SIGNS = 20
NARROW_TITLE_SIGNS = 22


def new_figure(height_px: int, narrow: bool, **more: Any) -> go.Figure:
    """An empty figure in the common layout, without the plot library's own template."""
    figure = go.Figure(layout=layout(height_px, **more))
    figure.layout.template = None
    if narrow:
        figure.layout.font.size = NARROW_FONT_SIZE
    return figure


def thick_u_bars(values: Sequence[Interval], rows: Sequence[float], axes: dict[str, str]) -> go.Scatter:
    """The part of the interval bars within one standard uncertainty, as one broken thick line."""
    x: list[float | None] = []
    y: list[float | None] = []
    for value, row in zip(values, rows, strict=True):
        x += [value.value - value.u, value.value + value.u, None]
        y += [row, row, None]
    return go.Scatter(x=x, y=y, mode="lines", line={"color": LIGHT["ink"], "width": 6}, hoverinfo="skip", **axes)


def measured_points(
    values: Sequence[Interval],
    rows: Sequence[float],
    mark: SetupMark,
    *,
    hover: Sequence[str],
    axes: dict[str, str],
    size_px: int = 13,
) -> go.Scatter:
    """Filled circles in the setup's hue, outlined in ink, with capped 95 % bars along x."""
    return go.Scatter(
        x=[value.value for value in values],
        y=list(rows),
        mode="markers",
        marker=circle(mark, size_px),
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [value.high95 - value.value for value in values],
            "arrayminus": [value.value - value.low95 for value in values],
            "color": LIGHT["ink"],
            "thickness": 2,
            "width": 7,
        },
        text=list(hover),
        hovertemplate="%{text}<extra></extra>",
        **axes,
    )


def circle(mark: SetupMark, size_px: int) -> dict[str, Any]:
    """A measured point's marker."""
    return {
        "symbol": "circle",
        "size": size_px,
        "color": mark.hue,
        "line": {"color": LIGHT["ink"], "width": 1.6},
    }


def row_label(text: str, narrow: bool) -> str:
    """A row's label, escaped; on a narrow screen broken into lines so that the figure keeps its room."""
    held = re.sub(r"(?<=\d) (?=\S{1,3}$)", "\N{NO-BREAK SPACE}", text)  # a number keeps its unit
    lines = textwrap.wrap(held, NARROW_LABEL_SIGNS) if narrow else [text]
    return "<br>".join(escape(line) for line in lines)


def title_text(text: str, narrow: bool) -> str:
    """An axis title; on a narrow screen, where row labels leave little room, broken into lines."""
    return "<br>".join(textwrap.wrap(text, NARROW_TITLE_SIGNS)) if narrow else text


def escape(text: str) -> str:
    """Text as text: Plotly reads a few tags in labels, a name must not become one."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
