"""The cases of a set: each area of the whole car by setup, hollow diamonds with their numerical uncertainty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from plotly import graph_objects as go

from server.analysis.correlated import NORMAL_95
from server.figures.marks import escape, new_figure, title_text
from server.figures.panels import Grid, padded, spread
from server.figures.predicted_marks import predicted_points, scaled
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark
from server.testday.values import Quantity

AREAS = ("SCx", "SCz_front", "SCz_rear", "SCz")
SYMBOLS = {"SCx": "SCx", "SCz_front": "SCz front", "SCz_rear": "SCz rear", "SCz": "SCz"}
ROW_PX = 64
APART = 0.16


@dataclass(frozen=True, slots=True)
class CaseAreas:
    """A case of the whole car: its setup, its line in the table, its condition, its areas by quantity."""

    setup: str
    line: int
    condition: str
    areas: Mapping[str, Quantity]


def drawn_areas(cases: Sequence[CaseAreas]) -> tuple[str, ...]:
    """Drag and both axles; the total only where no axle split was predicted."""
    there = [name for name in AREAS if any(name in case.areas for case in cases)]
    return tuple(name for name in there if name != "SCz" or "SCz_front" not in there)


def predicted_set(cases: Sequence[CaseAreas], marks: Mapping[str, SetupMark], narrow: bool = False) -> go.Figure:
    """A panel an area, a row a setup; cases of one setup that lie close are moved apart."""
    names, setups = drawn_areas(cases), list(dict.fromkeys(case.setup for case in cases))
    grid = Grid(len(names), (ROW_PX * len(setups) + 40,), narrow)
    figure = new_figure(grid.height_px + 90, narrow)
    for group, name in enumerate(names):
        inside = [case for case in cases if name in case.areas]
        for row, setup in enumerate(setups):
            mine = [case for case in inside if case.setup == setup]
            if mine:
                figure.add_trace(_points(mine, name, row, mark=marks[setup], axes=grid.axes(group, 0)))
        reach = [NORMAL_95 * case.areas[name].u for case in inside]
        low = min(case.areas[name].value - one for case, one in zip(inside, reach, strict=True))
        high = max(case.areas[name].value + one for case, one in zip(inside, reach, strict=True))
        titles = (title_text(f"{SYMBOLS[name]} [m²]", narrow), "")
        figure.update_layout(grid.layout(group, 0, titles, x=padded(low, high), y=[len(setups) - 0.5, -0.5]))
        if group == 0 or narrow:
            _name_rows(figure, grid.axes(group, 0)["yaxis"], setups, marks)
        else:
            figure.update_layout({_axis(grid.axes(group, 0)["yaxis"]): {"showticklabels": False}})
    return figure


def _points(cases: Sequence[CaseAreas], name: str, row: int, *, mark: SetupMark, axes: dict[str, str]) -> go.Scatter:
    values = [scaled(case.areas[name].value, case.areas[name].u, name) for case in cases]
    least = min(APART, 0.8 / len(cases))
    rows = [row + one for one in spread([0.0] * len(cases), least)]
    hover = [escape(f"line {case.line}: {case.areas[name].value:.4g} m², {case.condition}") for case in cases]
    return predicted_points(values, rows, mark, hover=hover, axes=axes)


def _name_rows(figure: go.Figure, axis: str, setups: Sequence[str], marks: Mapping[str, SetupMark]) -> None:
    letters = [marks[setup].letter for setup in setups]
    ticks = {"tickmode": "array", "tickvals": list(range(len(setups))), "ticktext": letters}
    ticks |= {"gridcolor": LIGHT["paper"]}
    figure.update_layout({_axis(axis): ticks})


def _axis(name: str) -> str:
    return name.replace("y", "yaxis", 1)


def predicted_set_table(cases: Sequence[CaseAreas]) -> Table:
    """What the figure draws."""
    names = drawn_areas(cases)
    heads = [head for name in names for head in (f"{SYMBOLS[name]} [m²]", f"u of {SYMBOLS[name]} [m²]")]
    rows: list[tuple[Cell, ...]] = []
    for case in cases:
        areas = [case.areas.get(name) for name in names]
        cells = [cell for one in areas for cell in ((one.value, one.u) if one else (None, None))]
        rows.append((case.line, case.setup, case.condition, *cells))
    return Table(("line", "setup", "condition", *heads), tuple(rows))
