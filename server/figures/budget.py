"""The uncertainty budget as bars: what makes the interval as wide as it is."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import BudgetLine, DayResult
from server.figures.budget_lines import QUANTITY, largest_lines
from server.figures.marks import new_figure, row_label, title_text
from server.figures.quantity import Quantity, quantity_of
from server.figures.rows import FRAME_HEIGHT_PX, NARROW_TICKS, ROW_HEIGHT_PX, TICKS
from server.figures.table import Table
from server.figures.theme import LIGHT, SetupMark, axis, setup_marks

NARROW_ROW_HEIGHT_PX = 62


def budget_table(result: DayResult, choice: str = QUANTITY) -> Table:
    """Every line of the budgets of one quantity."""
    rows = tuple(
        (s.name, b.quantity, b.input, b.value, b.u, b.unit, b.sensitivity, b.contribution, b.type, b.source)
        for s in result.setups
        for b in s.budget
        if b.quantity == (choice or QUANTITY)
    )
    columns = (
        "setup",
        "quantity",
        "input",
        "value",
        "u",
        "unit",
        "sensitivity",
        "contribution",
        "type",
        "source",
    )
    return Table(columns, rows)


def budget(result: DayResult, narrow: bool = False, choice: str = QUANTITY) -> go.Figure:
    """Contributions to u of a quantity: type A (from the data) plain, type B (stated) hatched."""
    name = choice or QUANTITY
    quantity = quantity_of(name)
    marks = setup_marks([setup.name for setup in result.setups])
    bars = [(marks[s.name], line) for s in result.setups for line in largest_lines(s.budget, quantity=name)]
    row_height = NARROW_ROW_HEIGHT_PX if narrow else ROW_HEIGHT_PX  # room for labels of three lines
    figure = new_figure(FRAME_HEIGHT_PX + row_height * max(1, len(bars)), narrow, bargap=0.25)
    heights = [len(bars) - 1 - place for place in range(len(bars))]
    figure.add_trace(_bars(bars, heights, quantity))
    labels = [row_label(f"{mark.letter}: {line.input}", narrow) for mark, line in bars]
    title = title_text(f"contribution to u({quantity.symbol}) [{quantity.unit}]", narrow)
    figure.update_xaxes(axis(title, rangemode="tozero", nticks=NARROW_TICKS if narrow else TICKS))
    figure.update_yaxes(axis("", tickvals=heights, ticktext=labels, showgrid=False, range=[-0.7, len(bars) - 0.3]))
    return figure


def _bars(bars: list[tuple[SetupMark, BudgetLine]], heights: list[int], quantity: Quantity) -> go.Bar:
    return go.Bar(
        x=[quantity.factor * line.contribution for _, line in bars],
        y=heights,
        orientation="h",
        marker={
            "color": [mark.hue for mark, _ in bars],
            "line": {"color": LIGHT["ink"], "width": 1.6},
            "pattern": {
                "shape": ["" if line.type == "A" else "/" for _, line in bars],
                "fgcolor": LIGHT["ink"],
                "size": 8,
                "solidity": 0.25,
            },
        },
        text=[line.input for _, line in bars],
        textposition="none",
        hovertemplate="%{text}: %{x:.3g} " + quantity.unit + "<extra></extra>",
    )
