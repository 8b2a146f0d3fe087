"""Lines over speed: in the setup's hue, outlined in ink, its 95 % band behind it, its letter at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from plotly import graph_objects as go

from server.analysis.result import Estimate
from server.figures.theme import LIGHT, SetupMark

BAND_OPACITY = 0.35
INK_WIDTH, HUE_WIDTH = 7, 4


def outlined_line(
    x: Sequence[float], y: Sequence[float], mark: SetupMark, axes: dict[str, str], hover: Sequence[str]
) -> list[go.Scatter]:
    """A line in the hue upon a wider one in ink."""
    common: dict[str, Any] = {"x": list(x), "y": list(y), "mode": "lines", **axes}
    return [
        go.Scatter(**common, line={"color": LIGHT["ink"], "width": INK_WIDTH}, hoverinfo="skip"),
        go.Scatter(
            **common,
            line={"color": mark.hue, "width": HUE_WIDTH},
            text=list(hover),
            hovertemplate="%{text}<extra></extra>",
        ),
    ]


def band(
    x: Sequence[float], values: Sequence[Estimate], factor: float, mark: SetupMark, axes: dict[str, str]
) -> go.Scatter:
    """The 95 % interval along x, filled in the hue."""
    low, high = [factor * one.low95 for one in values], [factor * one.high95 for one in values]
    return go.Scatter(
        x=[*x, *reversed(list(x))],
        y=[*high, *reversed(low)],
        mode="lines",
        fill="toself",
        fillcolor=mark.hue,
        opacity=BAND_OPACITY,
        line={"width": 0, "color": mark.hue},
        hoverinfo="skip",
        **axes,
    )


def end_letter(x: float, y: float, mark: SetupMark, axes: dict[str, str]) -> dict[str, Any]:
    """The setup's letter beside the end of its line."""
    return {
        "text": mark.letter,
        "x": x,
        "y": y,
        "xref": axes["xaxis"],
        "yref": axes["yaxis"],
        "showarrow": False,
        "xanchor": "left",
        "xshift": 6,
        "font": {"weight": 800},
    }


def level(value: float, axes: dict[str, str], dash: str = "dash") -> dict[str, Any]:
    """A level line across a panel."""
    return {
        "type": "line",
        "x0": 0,
        "x1": 1,
        "xref": f"{axes['xaxis']} domain",
        "y0": value,
        "y1": value,
        "yref": axes["yaxis"],
        "line": {"color": LIGHT["ink"], "width": 2, "dash": dash},
    }
