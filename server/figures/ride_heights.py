"""Ride heights and rake against speed, with their 95 % bands."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.over_speed import HEIGHTS, SINKS, curves_figure, curves_table, height_curves
from server.figures.table import Table


def ride_heights_table(result: DayResult) -> Table:
    """What the figure draws, and the sinks."""
    return curves_table(result, (*HEIGHTS, *SINKS))


def ride_heights(result: DayResult, narrow: bool = False) -> go.Figure:
    """Over each axle and the rake between them; without static heights how far the body sinks."""
    return curves_figure(result, height_curves(result), narrow, {})
