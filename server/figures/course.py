"""How the interval of each setup shrank from result to result of a day, towards the wanted one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from plotly import graph_objects as go

from server.analysis.result import Estimate
from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.panels import TITLE_ROOM_PX, Grid
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark
from server.testday.rounding import with_uncertainty

PANEL_PX, LOW_PANEL_PX = 170, 120
MANY_SETUPS = 4  # from here on the panels are lower
FRAME_PX = 40
MOST_DRAWN = 40  # results, the newest
WIDEST = 10.0  # a panel reaches to so many times the wanted U95, or to three times the last interval
TICKS, NARROW_TICKS = 14, 6


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """A setup's drag area in one result. number: of the result in the day's order, from 1; led_by: what led to it."""

    number: int
    setup: str
    value: Estimate
    coast_downs: int
    led_by: str


@dataclass(frozen=True, slots=True)
class Course:
    """The results of a day in their order. marks: by setup, in the order of the panels; wanted_u95 [m²]."""

    marks: dict[str, SetupMark]
    points: tuple[CoursePoint, ...]
    wanted_u95: float

    def of(self, setup: str) -> list[CoursePoint]:
        """The newest points of a setup."""
        last = max((one.number for one in self.points), default=0)
        return [one for one in self.points if one.setup == setup and one.number > last - MOST_DRAWN]


def course_table(course: Course) -> Table:
    """Every setup in every result."""
    head = ("result", "setup", "SCx [m²]", "u [m²]", "low 95 % [m²]", "high 95 % [m²]", "coast-downs used", "led by")
    rows: list[tuple[Cell, ...]] = [
        (p.number, p.setup, p.value.value, p.value.u, p.value.low95, p.value.high95, p.coast_downs, p.led_by)
        for p in sorted(course.points, key=lambda p: (p.number, list(course.marks).index(p.setup)))
    ]
    return Table(head, tuple(rows))


def course_figure(course: Course, narrow: bool = False) -> go.Figure:
    """A panel a setup, all of the same height in m²: SCx with its interval after each result, the wanted one shaded."""
    shown = [setup for setup in course.marks if course.of(setup)]
    height = LOW_PANEL_PX if len(shown) >= MANY_SETUPS else PANEL_PX
    grid = Grid(1, tuple(height for _ in shown) or (height,), narrow)
    figure = new_figure(grid.height_px + TITLE_ROOM_PX + FRAME_PX, narrow)
    numbers = [point.number for setup in shown for point in course.of(setup)] or [1]
    half = _half_height(course, shown)
    for row, setup in enumerate(shown):
        points, mark = course.of(setup), course.marks[setup]
        last = points[-1].value
        ranges = {"x": [min(numbers) - 0.6, max(numbers) + 0.6], "y": [last.value - half, last.value + half]}
        titles = ("result of the day [number]", title_text("SCx [m²]", narrow))
        figure.update_layout(grid.layout(0, row, titles, **ranges))
        figure.add_shape(_wanted(last, course.wanted_u95, grid.axes(0, row)["yaxis"]))
        figure.add_traces(_traces(points, mark, grid.axes(0, row)))
        figure.add_annotation(_title(grid, row, mark, last))
    figure.update_xaxes(tickformat="d", tick0=1, dtick=_step(numbers, narrow))
    figure.update_yaxes(nticks=5)
    return figure


def _half_height(course: Course, setups: Sequence[str]) -> float:
    """Half of what a panel shows [m²], the same for all: everything, as long as the last interval can be seen."""
    reach, least = 1.5 * course.wanted_u95, 0.0
    for setup in setups:
        points = course.of(setup)
        last = points[-1].value
        for one in points:
            reach = max(reach, one.value.high95 - last.value, last.value - one.value.low95)
        least = max(least, 3.0 * last.u95)
    return 1.08 * min(reach, max(WIDEST * course.wanted_u95, least))


def _wanted(last: Estimate, wanted_u95: float, yaxis: str) -> dict[str, object]:
    """The band that the interval is to fit in, about the newest estimate."""
    ends = {"y0": last.value - wanted_u95, "y1": last.value + wanted_u95}
    place = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "yref": yaxis, "layer": "below"}
    return {**place, **ends, "fillcolor": LIGHT["shade"], "line": {"width": 0}}


def _traces(points: Sequence[CoursePoint], mark: SetupMark, axes: dict[str, str]) -> list[go.Scatter]:
    x: list[float | None] = []
    y: list[float | None] = []
    for point in points:
        x += [point.number, point.number, None]
        y += [point.value.value - point.value.u, point.value.value + point.value.u, None]
    within_u = go.Scatter(x=x, y=y, mode="lines", line={"color": LIGHT["ink"], "width": 6}, hoverinfo="skip", **axes)
    bars = {
        "type": "data",
        "symmetric": False,
        "array": [point.value.high95 - point.value.value for point in points],
        "arrayminus": [point.value.value - point.value.low95 for point in points],
        "color": LIGHT["ink"],
        "thickness": 2,
        "width": 7,
    }
    circles = go.Scatter(
        x=[point.number for point in points],
        y=[point.value.value for point in points],
        mode="markers",
        marker=circle(mark, 13),
        error_y=bars,
        text=[_hover(point) for point in points],
        hovertemplate="%{text}<extra></extra>",
        **axes,
    )
    return [within_u, circles]


def _hover(point: CoursePoint) -> str:
    value = with_uncertainty(point.value.value, point.value.u95, point.value.unit)
    count = f"{point.coast_downs} coast-down{'' if point.coast_downs == 1 else 's'}"
    lines = [f"{point.setup}, result {point.number}: {value}", count, point.led_by]
    return "<br>".join(escape(line) for line in lines if line)


def _title(grid: Grid, row: int, mark: SetupMark, last: Estimate) -> dict[str, object]:
    """The setup and its newest value in the corner where the intervals are narrowest."""
    text = f"{mark.letter}  {with_uncertainty(last.value, last.u95, last.unit)}"
    return {**grid.title(0, row, text, mark), "x": 0.985, "xanchor": "right"}


def _step(numbers: Sequence[int], narrow: bool) -> int:
    """Whole numbers between ticks."""
    most = NARROW_TICKS if narrow else TICKS
    return max(1, -(-(max(numbers) - min(numbers) + 1) // most))
