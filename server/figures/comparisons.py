"""Changes between setups: the difference with its interval, against zero and what could be seen at all."""

from __future__ import annotations

from dataclasses import replace

from plotly import graph_objects as go

from server.analysis.result import DayResult, Delta
from server.figures.budget_lines import QUANTITY
from server.figures.quantity import Quantity, quantity_of
from server.figures.rows import Row, rows_figure
from server.figures.table import Table
from server.figures.theme import LIGHT, setup_marks


def comparisons_table(result: DayResult, choice: str = "") -> Table:
    """Every difference of the day: all quantities, or the one chosen."""
    rows = tuple(
        (c.setup, c.baseline, name, d.unit, d.value, d.u, d.low95, d.high95, d.p, d.smallest_seen)
        for c in result.comparisons
        for name, d in c.deltas.items()
        if name == (choice or name)
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


def comparisons(result: DayResult, narrow: bool = False, choice: str = "") -> go.Figure:
    """The change of each setup against its baseline; the shaded band is what this day could not have seen."""
    name = choice or QUANTITY
    quantity = quantity_of(name)
    marks = setup_marks([setup.name for setup in result.setups])
    found = [(c, on_screen(c.deltas[name], quantity)) for c in result.comparisons if name in c.deltas]
    rows = [
        Row(f"{marks[c.setup].letter} − {marks[c.baseline].letter}", marks[c.setup], delta, strong=True)
        for c, delta in found
    ]
    figure = rows_figure(rows, f"change of {quantity.symbol} [{quantity.unit}]", narrow)
    for place, (_, delta) in enumerate(found):
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


def on_screen(delta: Delta, quantity: Quantity) -> Delta:
    """The difference in the quantity's unit on screen."""
    numbers = ("value", "u", "low95", "high95", "smallest_seen", "shared_u")
    return replace(delta, unit=quantity.unit, **{name: quantity.factor * getattr(delta, name) for name in numbers})
