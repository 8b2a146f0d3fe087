"""What a setup takes at a steady speed, over speed: ride heights and rake, downforce and wheel loads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from plotly import graph_objects as go

from server.analysis.result import AtSpeed, DayResult, Estimate
from server.figures.lines import band, end_letter, outlined_line
from server.figures.marks import new_figure
from server.figures.panels import Grid, padded, spread
from server.figures.table import Cell, Table
from server.figures.theme import SetupMark, setup_marks

HEIGHT_PX = 360
FRAME_PX = 120
LETTER_PX = 21
MPS_TO_KMH = 3.6
SPEED = "speed [km/h]"


@dataclass(frozen=True, slots=True)
class Curve:
    """One quantity over speed: its field in `AtSpeed`, axis title with unit, factor from SI; family: shared y range."""

    field: str
    title: str
    unit: str
    factor: float = 1.0
    family: str = ""

    def of(self, one: AtSpeed) -> Estimate | None:
        """The quantity at one speed, where it can be had."""
        value: Estimate | None = getattr(one, self.field)
        return value if value is not None and math.isfinite(value.value) else None


HEIGHTS = (
    Curve("ride_height_front_m", "ride height front [mm]", "mm", 1e3, "height"),
    Curve("ride_height_rear_m", "ride height rear [mm]", "mm", 1e3, "height"),
    Curve("rake_rad", "rake, nose down [°]", "°", 180.0 / math.pi),
)
SINKS = (
    Curve("sink_front_m", "sunk since standing, front [mm]", "mm", 1e3, "sink"),
    Curve("sink_rear_m", "sunk since standing, rear [mm]", "mm", 1e3, "sink"),
)
FORCES = (
    Curve("downforce_n", "downforce [N]", "N"),
    Curve("wheel_load_front_n", "load on a front wheel [N]", "N", family="wheel"),
    Curve("wheel_load_rear_n", "load on a rear wheel [N]", "N", family="wheel"),
)
TABLED = (
    *HEIGHTS,
    *SINKS,
    *FORCES,
    Curve("downforce_front_n", "downforce front [N]", "N"),
    Curve("downforce_rear_n", "downforce rear [N]", "N"),
)


def height_curves(result: DayResult) -> tuple[Curve, ...]:
    """Heights and rake where a static height is known, else how far the body sinks; those with values only."""
    for curves in (HEIGHTS, SINKS):
        had = tuple(curve for curve in curves if _values(result, curve))
        if had:
            return had
    return ()


def _values(result: DayResult, curve: Curve) -> list[Estimate]:
    found = [curve.of(one) for setup in result.setups for one in setup.at_speeds]
    return [value for value in found if value is not None]


def curves_table(result: DayResult, curves: Sequence[Curve]) -> Table:
    """Every speed of every setup: value and its 95 % interval of each curve."""
    had = [curve for curve in curves if _values(result, curve)]
    rows: list[tuple[Cell, ...]] = []
    for setup in result.setups:
        for one in setup.at_speeds:
            cells: list[Cell] = [setup.name, MPS_TO_KMH * one.speed_mps]
            for curve in had:
                v, f = curve.of(one), curve.factor
                cells += [f * v.value, f * v.low95, f * v.high95] if v else [None, None, None]
            rows.append(tuple(cells))
    heads = [head for curve in had for head in (curve.title, f"low 95 % [{curve.unit}]", f"high 95 % [{curve.unit}]")]
    return Table(("setup", SPEED, *heads), tuple(rows))


def curves_figure(result: DayResult, curves: Sequence[Curve], narrow: bool, also: dict[str, list[float]]) -> go.Figure:
    """One panel a curve; also: values that a family's or field's range must hold besides."""
    marks = setup_marks([setup.name for setup in result.setups])
    grid = Grid(max(1, len(curves)), (HEIGHT_PX,), narrow, shared_y=False)
    figure = new_figure(grid.height_px + FRAME_PX, narrow)
    x = _speed_range(result)
    for group, curve in enumerate(curves):
        axes, y = grid.axes(group, 0), _range(result, curve, curves, also)
        ends: list[tuple[float, float, SetupMark]] = []
        for setup in result.setups:
            told = [(one.speed_mps * MPS_TO_KMH, value) for one in setup.at_speeds if (value := curve.of(one))]
            if told:
                _draw(figure, curve, told, marks[setup.name], axes)
                ends.append((told[-1][0], curve.factor * told[-1][1].value, marks[setup.name]))
        least = LETTER_PX * (y[1] - y[0]) / HEIGHT_PX
        for (at, _, mark), height in zip(ends, spread([end[1] for end in ends], least), strict=True):
            figure.add_annotation(end_letter(at, height, mark, axes))
        figure.update_layout(grid.layout(group, 0, (SPEED, curve.title), x=x, y=y))
    if not curves:
        figure.update_layout(grid.layout(0, 0, (SPEED, "downforce [N]")))
    return figure


def _draw(
    figure: go.Figure, curve: Curve, told: list[tuple[float, Estimate]], mark: SetupMark, axes: dict[str, str]
) -> None:
    x, values = [at for at, _ in told], [value for _, value in told]
    f = curve.factor
    hover = [
        f"setup {mark.letter}, {at:.0f} km/h: {f * v.value:.4g} {curve.unit}<br>"
        f"95 %: {f * v.low95:.4g} to {f * v.high95:.4g}"
        for at, v in told
    ]
    figure.add_trace(band(x, values, f, mark, axes))
    figure.add_traces(outlined_line(x, [f * v.value for v in values], mark, axes, hover))


def _speed_range(result: DayResult) -> list[float]:
    speeds = [MPS_TO_KMH * one.speed_mps for setup in result.setups for one in setup.at_speeds]
    if not speeds:
        return [0.0, 100.0]
    room = 0.09 * (max(speeds) - min(speeds) or 10.0)
    return [min(speeds) - 0.3 * room, max(speeds) + room]


def _range(result: DayResult, curve: Curve, curves: Sequence[Curve], also: dict[str, list[float]]) -> list[float]:
    family = [one for one in curves if one is curve or (curve.family and one.family == curve.family)]
    ends = [one.factor * end for one in family for value in _values(result, one) for end in (value.low95, value.high95)]
    ends += also.get(curve.family or curve.field, [])
    return padded(min(ends), max(ends)) if ends else [0.0, 1.0]
