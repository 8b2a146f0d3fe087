"""Downforce and wheel loads against speed, and the speed at which the downforce equals the weight."""

from __future__ import annotations

from typing import Any

from plotly import graph_objects as go

from server.analysis.result import AtSpeed, DayResult, Estimate, SetupResult
from server.figures.lines import level
from server.figures.marks import circle, escape
from server.figures.over_speed import FORCES, MPS_TO_KMH, TABLED, curves_figure, curves_table
from server.figures.table import Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

AXES = {"xaxis": "x", "yaxis": "y"}


def downforce_table(result: DayResult) -> Table:
    """Every speed: downforce, wheel loads, heights."""
    forces = [curve for curve in TABLED if curve.unit == "N"]
    return curves_table(result, forces)


def weight_n(one: AtSpeed) -> float:
    """Weight [N]: what the four wheels carry less the downforce."""
    wheels = one.wheel_load_front_n.value + one.wheel_load_rear_n.value
    return 2.0 * wheels - one.downforce_n.value


def downforce(result: DayResult, narrow: bool = False) -> go.Figure:
    """Downforce with the weight as a dashed level; a circle with its bar where they meet, if that is in sight."""
    figure = curves_figure(result, FORCES, narrow, {})
    marks = setup_marks([setup.name for setup in result.setups])
    x, y = figure.layout.xaxis.range, figure.layout.yaxis.range
    weights = [weight_n(setup.at_speeds[0]) for setup in result.setups if setup.at_speeds]
    if not weights or not y[0] <= max(weights) <= y[1]:
        return figure
    figure.add_shape(level(sum(weights) / len(weights), AXES))
    figure.add_annotation(_weight_word(sum(weights) / len(weights)))
    for setup in result.setups:
        meeting = meeting_speed(setup)
        if meeting and setup.at_speeds and x[0] <= MPS_TO_KMH * meeting.value <= x[1]:
            figure.add_trace(_meeting(setup, meeting, marks[setup.name]))
    return figure


def meeting_speed(setup: SetupResult) -> Estimate | None:
    """The speed at which downforce equals weight [m/s], where it can be had."""
    return setup.estimates.get("weight_speed")


def _meeting(setup: SetupResult, speed: Estimate, mark: SetupMark) -> go.Scatter:
    f = MPS_TO_KMH
    words = f"setup {escape(setup.name)}: downforce equals weight at {f * speed.value:.0f} ± {f * speed.u95:.0f} km/h"
    return go.Scatter(
        x=[f * speed.value],
        y=[weight_n(setup.at_speeds[0])],
        mode="markers",
        marker=circle(mark, 15),
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [f * (speed.high95 - speed.value)],
            "arrayminus": [f * (speed.value - speed.low95)],
            "color": LIGHT["ink"],
            "thickness": 2,
            "width": 7,
        },
        hovertemplate=words + "<extra></extra>",
        **AXES,
    )


def _weight_word(weight: float) -> dict[str, Any]:
    return {
        "text": f"weight {weight:.0f} N",
        "x": 0.02,
        "xref": "x domain",
        "y": weight,
        "yref": "y",
        "xanchor": "left",
        "yanchor": "bottom",
        "showarrow": False,
    }
