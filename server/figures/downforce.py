"""Downforce and wheel loads against speed, and the speed at which the downforce equals the weight."""

from __future__ import annotations

import math
from typing import Any

from plotly import graph_objects as go

from server.analysis.result import AtSpeed, DayResult, Estimate, SetupResult
from server.figures.lines import level
from server.figures.marks import circle, escape
from server.figures.over_speed import FORCES, MPS_TO_KMH, TABLED, curves_figure, curves_table
from server.figures.table import Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

AXES = {"xaxis": "x", "yaxis": "y"}
FARTHEST = 2.0  # times the fastest speed told


def downforce_table(result: DayResult) -> Table:
    """Every speed: downforce, wheel loads, heights."""
    forces = [curve for curve in TABLED if curve.unit == "N"]
    return curves_table(result, forces)


def weight_n(one: AtSpeed) -> float:
    """Weight [N]: what the four wheels carry less the downforce."""
    wheels = one.wheel_load_front_n.value + one.wheel_load_rear_n.value
    return 2.0 * wheels - one.downforce_n.value


def downforce(result: DayResult, narrow: bool = False) -> go.Figure:
    """Downforce with the weight as a dashed level; a circle with its bar where they meet, if that is in sight.

    The lines end at the speeds that the result tells of; the axes go on to where downforce equals weight.
    """
    marks = setup_marks([setup.name for setup in result.setups])
    meetings = [(setup, speed) for setup in result.setups if (speed := meeting_speed(setup))]
    if not meetings:
        return curves_figure(result, FORCES, narrow, {})
    weight = sum(weight_n(setup.at_speeds[0]) for setup, _ in meetings) / len(meetings)
    figure = curves_figure(result, FORCES, narrow, {"downforce_n": [0.0, 1.06 * weight]})
    x = figure.layout.xaxis.range
    farthest = MPS_TO_KMH * max(speed.high95 for _, speed in meetings)
    figure.update_layout(xaxis_range=[x[0], max(x[1], 1.05 * farthest)])
    figure.add_shape(level(weight, AXES))
    figure.add_annotation(_weight_word(weight))
    figure.add_traces([_meeting(setup, speed, marks[setup.name]) for setup, speed in meetings])
    return figure


def meeting_speed(setup: SetupResult) -> Estimate | None:
    """The speed at which downforce equals weight [m/s], where it can be had and is not far off what was told."""
    speed = setup.estimates.get("weight_speed")
    if speed is None or not setup.at_speeds or not math.isfinite(speed.value):
        return None
    return speed if speed.high95 <= FARTHEST * setup.at_speeds[-1].speed_mps else None


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
