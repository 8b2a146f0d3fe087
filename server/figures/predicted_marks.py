"""Marks of what was predicted: a hollow diamond with its bar."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from plotly import graph_objects as go

from server.analysis.correlated import NORMAL_95
from server.analysis.result import Estimate
from server.figures.marks import measured_points
from server.figures.quantity import quantity_of
from server.figures.theme import LIGHT, SetupMark

AXES = {"xaxis": "x", "yaxis": "y"}


def diamond(mark: SetupMark, size_px: int) -> dict[str, Any]:
    """A predicted point's marker: hollow, in the setup's hue, outlined so that it is seen on either paper."""
    return {"symbol": "diamond-open", "size": size_px, "color": LIGHT["ink"], "line": {"color": mark.hue, "width": 3}}


def predicted_points(
    values: Sequence[Estimate], rows: Sequence[float], mark: SetupMark, *, hover: Sequence[str], axes: dict[str, str]
) -> go.Scatter:
    """Hollow diamonds with capped 95 % bars along x."""
    points = measured_points(values, rows, mark, hover=hover, axes=axes)
    points.marker = diamond(mark, 14)
    return points


def scaled(value: float, u: float, quantity: str) -> Estimate:
    """A value in screen units with its normal 95 % interval."""
    on_screen = quantity_of(quantity)
    told, half = on_screen.factor * value, on_screen.factor * NORMAL_95 * u
    return Estimate(told, on_screen.factor * u, told - half, told + half, on_screen.unit, "predicted")


def bar(half: Sequence[float]) -> dict[str, Any]:
    """Error bars that reach so far each way."""
    return {"type": "data", "array": list(half), "color": LIGHT["ink"], "thickness": 2, "width": 6}
