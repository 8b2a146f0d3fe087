"""What the joints hold back: observed less fitted load against the load, rising and falling told apart."""

from __future__ import annotations

from plotly import graph_objects as go

from server.analysis.result import AxleLoadFit, DayResult, LoadSource
from server.figures.fits import AXLE_WORDS, AXLES, KIND_WORDS, chosen_source, load_sources, loads_of
from server.figures.lines import level
from server.figures.load_points import LoadPoint, PassLoads, friction_band, over_load
from server.figures.marks import circle, escape, new_figure
from server.figures.panels import Grid
from server.figures.passes_over_speed import DIRECTION_WORDS
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

ROW_HEIGHT_PX = 230
FRAME_PX = 120
WAYS = {True: ("rising", "triangle-up"), False: ("falling", "triangle-down")}


def friction_sources(result: DayResult) -> list[LoadSource]:
    """Sources through whose joints a load is held back: those where the fit found any."""
    held = {
        load.source
        for setup in result.setups
        for fit in setup.fits
        for load in fit.loads
        if friction_band([load]) is not None
    }
    return [source for source in load_sources(result) if source in held]


def _source(result: DayResult, choice: str) -> LoadSource:
    sources = friction_sources(result)
    return next((one for one in sources if one == choice), sources[0] if sources else chosen_source(result, ""))


def held_back(point: LoadPoint) -> float:
    """Observed less fitted load [N]: what the joints hold back, and noise."""
    return point.load_n - point.fitted_n


def joint_friction_table(result: DayResult, choice: str = "") -> Table:
    """What the figure draws, one row a point."""
    rows: list[tuple[Cell, ...]] = []
    for one, up in over_load(result, _source(result, choice)):
        of = one.fit.of
        where = (one.setup, of.run, KIND_WORDS[of.kind], DIRECTION_WORDS[of.direction], of.start_s, one.load.axle)
        for p in one.points:
            rows.append((*where, WAYS[up][0], p.fitted_n, held_back(p), p.friction_n))
    columns = (
        *("setup", "run", "kind", "direction", "pass start [s]", "axle", "load is"),
        *("fitted load [N]", "observed less fitted [N]", "held back as the fit found it [N]"),
    )
    return Table(columns, tuple(rows))


def joint_friction(result: DayResult, narrow: bool = False, choice: str = "") -> go.Figure:
    """Rising load: triangles up; falling: triangles down; dashed: the band that the fit found."""
    marks = setup_marks([setup.name for setup in result.setups])
    source = _source(result, choice)
    found = [(one, up) for one, up in over_load(result, source) if one.points]
    shown = [setup for setup in result.setups if any(one.setup == setup.name for one, _ in found)]
    grid = Grid(len(AXLES), tuple(ROW_HEIGHT_PX for _ in shown) or (ROW_HEIGHT_PX,), narrow)
    figure = new_figure(grid.height_px + FRAME_PX, narrow)
    x, y = _ranges(found)
    for group, axle in enumerate(AXLES):
        for row, setup in enumerate(shown):
            mark = marks[setup.name]
            mine = [(o, up) for o, up in found if o.setup == setup.name and o.load.axle == axle]
            figure.add_traces([_points(one, up, mark, grid.axes(group, row)) for one, up in mine])
            _band(figure, [load for _, load in loads_of(setup, axle, source)], grid.axes(group, row))
            figure.add_annotation(grid.title(group, row, f"{mark.letter}, {AXLE_WORDS[axle]}", mark))
        for row in range(len(grid.heights_px)):
            titles = ("fitted axle load [N]", "observed − fitted [N]")
            figure.update_layout(grid.layout(group, row, titles, x=x, y=y))
    return figure


def _points(one: PassLoads, up: bool, mark: SetupMark, axes: dict[str, str]) -> go.Scatter:
    word, symbol = WAYS[up]
    of = one.fit.of
    name = (
        f"run {of.run} {DIRECTION_WORDS[of.direction]}, {KIND_WORDS[of.kind]}, load {word}, setup {escape(one.setup)}"
    )
    return go.Scatter(
        x=[p.fitted_n for p in one.points],
        y=[held_back(p) for p in one.points],
        mode="markers",
        name=name,
        marker={**circle(mark, 10), "symbol": symbol, "line": {"color": LIGHT["ink"], "width": 1.2}},
        hovertemplate="%{x:.0f} N, %{y:+.0f} N<extra>" + name + "</extra>",
        **axes,
    )


def _band(figure: go.Figure, loads: list[AxleLoadFit], axes: dict[str, str]) -> None:
    half = friction_band(loads)
    figure.add_shape(level(0.0, axes, "solid"))
    for sign in (-1.0, 1.0) if half is not None else ():
        figure.add_shape(level(sign * (half or 0.0), axes, "dash"))


def _ranges(found: list[tuple[PassLoads, bool]]) -> tuple[list[float], list[float]]:
    points = [p for one, _ in found for p in one.points]
    if not points:
        return [0.0, 1000.0], [-100.0, 100.0]
    most = 1.25 * max(abs(held_back(p)) for p in points)
    loads = [p.fitted_n for p in points]
    return [min(0.0, *loads), 1.05 * max(loads)], [-most, most]
