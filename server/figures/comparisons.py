"""Changes between setups: the difference with its interval, against zero and what could be seen at all."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.rows import Row, rows_figure
from server.figures.table import Table
from server.figures.theme import LIGHT, setup_marks


def comparisons_table(result: DayResult) -> Table:
    """Every difference of the day, all quantities."""
    rows = tuple(
        (c.setup, c.baseline, name, d.unit, d.value, d.u, d.low95, d.high95, d.p, d.smallest_seen)
        for c in result.comparisons
        for name, d in c.deltas.items()
    )
    columns = (
        "setup",
        "baseline",
        "quantity",
        "unit",
        "difference",
        "u",
        "low 95 %",
        "high 95 %",
        "p",
        "smallest seen",
    )
    return Table(columns, rows)


def comparisons(result: DayResult, narrow: bool = False) -> go.Figure:
    """ΔSCx of each setup against its baseline; the shaded band is what this day could not have seen."""
    marks = setup_marks([setup.name for setup in result.setups])
    deltas = [(c, c.deltas["SCx"]) for c in result.comparisons if "SCx" in c.deltas]
    rows = [
        Row(f"{marks[c.setup].letter} − {marks[c.baseline].letter}", marks[c.setup], delta, strong=True)
        for c, delta in deltas
    ]
    figure = rows_figure(rows, "change of SCx [m²]", narrow)
    for place, (_, delta) in enumerate(deltas):
        height = len(rows) - 1 - place
        figure.add_shape(
            type="rect",
            x0=-delta.smallest_seen,
            x1=delta.smallest_seen,
            y0=height - 0.4,
            y1=height + 0.4,
            fillcolor=LIGHT["shade"],
            line={"width": 0},
            layer="below",
        )
    figure.add_shape(type="line", x0=0, x1=0, y0=0, y1=1, yref="paper", line={"color": LIGHT["ink"], "width": 2})
    return figure
