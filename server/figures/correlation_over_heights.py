"""SCz of an axle over its ride height: where the car really was, with the predicted cases beneath."""

from __future__ import annotations

from collections.abc import Sequence

from plotly import graph_objects as go

from server.analysis.correlated import NORMAL_95
from server.analysis.result import VisitedHeight
from server.figures.correlation_points import CasePoint
from server.figures.marks import circle, new_figure, title_text
from server.figures.predicted_marks import bar, diamond
from server.figures.table import Cell, Table
from server.figures.theme import SetupMark, axis


def over_heights(
    visited: Sequence[VisitedHeight], cases: Sequence[CasePoint], mark: SetupMark, narrow: bool = False
) -> go.Figure:
    """SCz of an axle over its ride height: measured where the passes were, predicted at its cases."""
    figure = new_figure(420, narrow)
    mine = [one for one in visited if one.ride_height is not None]
    figure.add_trace(
        go.Scatter(
            x=[1e3 * one.ride_height.value for one in mine if one.ride_height], y=[one.scz.value for one in mine],
            mode="markers", marker=circle(mark, 13),
            error_y=bar([NORMAL_95 * one.scz.u for one in mine]),
            hovertext=[
                f"measured {one.scz.value:.4g} ± {NORMAL_95 * one.scz.u:.2g} m², {one.seconds:.0f} s there"
                for one in mine
            ],
            hovertemplate="%{hovertext}<extra></extra>",
        )
    )  # fmt: skip
    figure.add_trace(
        go.Scatter(
            x=[1e3 * one.height_m for one in cases], y=[one.scz for one in cases], mode="markers",
            marker=diamond(mark, 13), error_y=bar([NORMAL_95 * one.u for one in cases]),
            hovertext=[f"predicted {one.scz:.4g} ± {NORMAL_95 * one.u:.2g} m², {one.words}" for one in cases],
            hovertemplate="%{hovertext}<extra></extra>",
        )
    )  # fmt: skip
    figure.update_xaxes(axis(title_text("ride height of the axle [mm]", narrow), nticks=4 if narrow else 7))
    figure.update_yaxes(axis(title_text("SCz of the axle [m²]", narrow)))
    return figure


def over_heights_table(visited: Sequence[VisitedHeight], cases: Sequence[CasePoint]) -> Table:
    """What the figure draws."""
    columns = ("what", "ride height [mm]", "SCz [m²]", "u [m²]", "time spent [s]", "case")
    rows: list[tuple[Cell, ...]] = [
        ("measured", 1e3 * one.ride_height.value, one.scz.value, one.scz.u, one.seconds, "")
        for one in visited
        if one.ride_height is not None
    ]
    rows += [("predicted", 1e3 * one.height_m, one.scz, one.u, None, one.words) for one in cases]
    return Table(columns, tuple(rows))
