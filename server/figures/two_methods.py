"""The published speed-interval method beside the fit of the whole day."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.rows import Row, rows_figure
from server.figures.table import Cell, Table
from server.figures.theme import setup_marks


def two_methods_rows(result: DayResult) -> list[Row]:
    """Per setup: the fit's apparent area (what coasting alone sees), then the interval method's two."""
    marks = setup_marks([setup.name for setup in result.setups])
    rows: list[Row] = []
    for setup in result.setups:
        mark, method = marks[setup.name], setup.interval_method
        if "SCx_apparent" in setup.estimates:
            label = f"{mark.letter}, fit of the day"
            rows.append(Row(label, mark, setup.estimates["SCx_apparent"], strong=True))
        if method is None:
            continue
        missing = method.text or "cannot be had from these passes"
        rows.append(Row(f"{mark.letter}, intervals, f0 and f2", mark, method.scx_two_term, note=missing))
        rows.append(Row(f"{mark.letter}, intervals, f0, f1 and f2", mark, method.scx_three_term, note=missing))
    return rows


def two_methods_table(result: DayResult) -> Table:
    """The rows of the figure."""
    rows: list[tuple[Cell, ...]] = []
    for row in two_methods_rows(result):
        value = row.value
        rows.append((row.label, *((value.value, value.u, value.low95, value.high95) if value else (None,) * 4)))
    return Table(("method", "SCx [m²]", "u [m²]", "low 95 % [m²]", "high 95 % [m²]"), tuple(rows))


def two_methods(result: DayResult, narrow: bool = False) -> go.Figure:
    """Both methods on one axis; bars that do not overlap are a finding."""
    return rows_figure(two_methods_rows(result), "drag area as coasting sees it [m²]", narrow)
