"""Differences over days as a forest: the combined value of each, its days beneath."""

from __future__ import annotations

from collections.abc import Mapping

from plotly import graph_objects as go

from server.analysis.compared_days import ComparedDays, OneDay, OverDaysDifference
from server.analysis.result import Estimate
from server.figures.quantity import Quantity, quantity_of
from server.figures.rows import Row, rows_figure
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark

NORMAL_95 = 1.959964
COLUMNS = (
    "setup", "baseline", "quantity", "unit", "day", "difference", "u", "low 95 %", "high 95 %",
    "low 95 %, all together", "high 95 %, all together", "p", "p, all together", "smallest seen",
    "u that days share", "remark",
)  # fmt: skip
ALL_DAYS = "all days"


def days_table(compared: ComparedDays) -> Table:
    """Every difference over all days, then its days."""
    rows: list[tuple[Cell, ...]] = []
    for one in compared.differences:
        about = (one.setup, compared.baseline, compared.quantity, compared.unit)
        rows.append(
            (*about, ALL_DAYS, one.value, one.u, one.value - one.u95, one.value + one.u95, one.value - one.u95_all,
             one.value + one.u95_all, one.p, one.p_all, one.smallest_seen, one.shared_u, one.verdict)
        )  # fmt: skip
        rows += [(*about, day.words, *_day_cells(day)) for day in one.days]
    rows += [("", "", compared.quantity, "", words, *_NONE, f"left out: {why}") for words, why in compared.left_out]
    return Table(COLUMNS, tuple(rows))


_NONE: tuple[Cell, ...] = (None,) * 10


def _day_cells(day: OneDay) -> tuple[Cell, ...]:
    if day.value is None:
        return (*_NONE, f"ran only {day.ran}")
    half = NORMAL_95 * day.u
    remark = "" if day.apart_p is None else f"as far from the other days with p = {day.apart_p:.3f}"
    return (day.value, day.u, day.value - half, day.value + half, *_NONE[:6], remark)


def judged_days(compared: ComparedDays, marks: Mapping[str, SetupMark], narrow: bool = False) -> go.Figure:
    """Of each setup the combined difference, large, and the days that it is made of, small; zero as a line.

    marks: a setup's name over the days → its mark.
    """
    quantity = quantity_of(compared.quantity)
    rows: list[Row] = []
    for one in compared.differences:
        rows.append(Row(f"{one.setup} − {compared.baseline}", marks[one.setup], _combined(one, quantity), strong=True))
        rows += [_day_row(day, marks[one.setup], quantity) for day in one.days]
    figure = rows_figure(rows, f"change of {quantity.symbol} [{quantity.unit}]", narrow)
    figure.add_shape(type="line", x0=0, x1=0, y0=0, y1=1, yref="paper", line={"color": LIGHT["ink"], "width": 2})
    return figure


def _day_row(day: OneDay, mark: SetupMark, quantity: Quantity) -> Row:
    if day.value is None:
        return Row(day.words, mark, None, note=f"ran only {day.ran}")
    value, u = quantity.factor * day.value, quantity.factor * day.u
    low, high = value - NORMAL_95 * u, value + NORMAL_95 * u
    return Row(day.words, mark, Estimate(value, u, low, high, quantity.unit, "measured"))


def _combined(one: OverDaysDifference, quantity: Quantity) -> Estimate:
    """On screen, its interval the one that holds together with the others'."""
    value, u, half = (quantity.factor * number for number in (one.value, one.u, one.u95_all))
    return Estimate(value, u, value - half, value + half, quantity.unit, "measured")
