"""Downforce area over the ride heights that were really visited: bars, nothing filled in between."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from plotly import graph_objects as go

from server.analysis.result import AxleEnd, DayResult, Estimate, SetupResult, VisitedHeight
from server.figures.fits import AXLE_WORDS, AXLES
from server.figures.lines import end_letter
from server.figures.marks import circle, escape, new_figure
from server.figures.panels import Grid, padded
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, SetupMark, setup_marks

HEIGHT_PX = 380
FRAME_PX = 120
CURVE_POINTS = 30
M_TO_MM = 1e3


def visited_heights_table(result: DayResult) -> Table:
    """Every band of heights with its interval, one row each."""
    rows: list[tuple[Cell, ...]] = []
    for setup in result.setups:
        for one in setup.visited:
            height, sink, scz = one.ride_height, one.sink, one.scz
            over: list[Cell] = [M_TO_MM * height.value, M_TO_MM * height.u] if height else [None, None]
            heights = (*over, M_TO_MM * sink.value, M_TO_MM * sink.u)
            rows.append((setup.name, one.axle, *heights, scz.value, scz.u, scz.low95, scz.high95, one.seconds))
    columns = (
        *("setup", "axle", "ride height [mm]", "u [mm]", "sunk since standing [mm]", "u of it [mm]"),
        *("SCz [m²]", "u of SCz [m²]", "low 95 % [m²]", "high 95 % [m²]", "time spent [s]"),
    )
    return Table(columns, tuple(rows))


def visited_heights(result: DayResult, narrow: bool = False) -> go.Figure:
    """SCz of each axle where the car was: circles; the fit's curve, or its level, over just that range."""
    marks = setup_marks([setup.name for setup in result.setups])
    by_height = all(one.ride_height for setup in result.setups for one in setup.visited)
    grid = Grid(len(AXLES), (HEIGHT_PX,), narrow)
    figure = new_figure(grid.height_px + FRAME_PX, narrow)
    speed = _reference_speed(result)
    for group, axle in enumerate(AXLES):
        axes = grid.axes(group, 0)
        for setup in result.setups:
            bands = _bands(setup, axle)
            if not bands:
                continue
            curve = fitted_curve(setup, axle, bands, speed)
            figure.add_traces(_marks(setup, bands, marks[setup.name], axes, by_height))
            if curve:
                x, y = _x(curve, bands, by_height), curve.scz
                dash = "solid" if curve.bent else "dash"
                line = {"color": LIGHT["ink"], "width": 2.2, "dash": dash}
                figure.add_trace(go.Scatter(x=x, y=y, mode="lines", line=line, hoverinfo="skip", **axes))
            figure.add_annotation(_letter(bands, marks[setup.name], axes, by_height))
        figure.update_layout(
            grid.layout(group, 0, (_title(by_height), "SCz of the axle [m²]"), **_ranges(result, by_height))
        )
        figure.add_annotation(grid.title(group, 0, AXLE_WORDS[axle]))
    return figure


@dataclass(frozen=True, slots=True)
class Curve:
    """The fit over the sinks visited [m]: areas [m²], and whether they bend."""

    sink_m: list[float]
    scz: list[float]
    bent: bool


def fitted_curve(setup: SetupResult, axle: AxleEnd, bands: list[VisitedHeight], speed_mps: float) -> Curve | None:
    """SCz(sink) = SCz_ref (1 + slope (sink − sink_ref)) over the sinks visited; level where nothing bends.

    sink_ref is the sink at the reference speed, between the speeds that the result tells of.
    """
    area = setup.estimates.get(f"SCz_{axle}")
    if area is None or not bands:
        return None
    sink = np.linspace(bands[0].sink.value, bands[-1].sink.value, CURVE_POINTS)
    slope = setup.bend.slope.get(axle) if setup.bend and setup.bend.bent else None
    reference = _reference_sink(setup, axle, speed_mps)
    if slope is None or reference is None:
        return None if setup.bend and setup.bend.bent else Curve(list(sink[[0, -1]]), [area.value] * 2, False)
    return Curve(list(sink), list(area.value * (1.0 + slope.value * (sink - reference))), True)


def _reference_sink(setup: SetupResult, axle: AxleEnd, speed_mps: float) -> float | None:
    found = [(one.speed_mps, getattr(one, f"sink_{axle}_m")) for one in setup.at_speeds]
    told = [(speed, sink.value) for speed, sink in found if sink is not None]
    if not told or not told[0][0] <= speed_mps <= told[-1][0]:
        return None
    return float(np.interp(speed_mps, [one[0] for one in told], [one[1] for one in told]))


def _reference_speed(result: DayResult) -> float:
    speed = result.reference.get("speed_mps")
    return float(speed) if isinstance(speed, int | float) else math.nan


def _place(one: VisitedHeight, by_height: bool) -> Estimate:
    return one.ride_height if by_height and one.ride_height else one.sink


def _x(curve: Curve, bands: list[VisitedHeight], by_height: bool) -> list[float]:
    """Where the curve's sinks stand along x [mm]: heights over standing minus sink."""
    if not by_height:
        return [M_TO_MM * one for one in curve.sink_m]
    standing = np.mean([one.ride_height.value + one.sink.value for one in bands if one.ride_height])
    return [M_TO_MM * (float(standing) - one) for one in curve.sink_m]


def _marks(
    setup: SetupResult, bands: list[VisitedHeight], mark: SetupMark, axes: dict[str, str], by_height: bool
) -> list[go.Scatter]:
    """Circles with capped 95 % bars, thick at one u; across, without caps, the heights within the band."""
    places = [_place(one, by_height) for one in bands]
    x, y = [M_TO_MM * one.value for one in places], [one.scz.value for one in bands]
    thick_x = [value for at in x for value in (at, at, None)]
    thick_y = [v for one in bands for v in (one.scz.value - one.scz.u, one.scz.value + one.scz.u, None)]
    ink = {"color": LIGHT["ink"], "width": 6}
    return [
        go.Scatter(x=thick_x, y=thick_y, mode="lines", line=ink, hoverinfo="skip", **axes),
        go.Scatter(
            x=x,
            y=y,
            mode="markers",
            name=f"setup {escape(setup.name)}",
            marker=circle(mark, 13),
            error_x=_bars([(M_TO_MM * (p.high95 - p.value), M_TO_MM * (p.value - p.low95)) for p in places], 0),
            error_y=_bars([(b.scz.high95 - b.scz.value, b.scz.value - b.scz.low95) for b in bands]),
            text=[f"{one.seconds:.0f} s" for one in bands],
            hovertemplate="%{x:.1f} mm, %{y:.3f} m², %{text}<extra>setup " + escape(setup.name) + "</extra>",
            **axes,
        ),
    ]


def _bars(halves: list[tuple[float, float]], cap_px: int = 6) -> dict[str, Any]:
    return {
        "type": "data",
        "symmetric": False,
        "array": [high for high, _ in halves],
        "arrayminus": [low for _, low in halves],
        "color": LIGHT["ink"],
        "thickness": 2,
        "width": cap_px,
    }


def _letter(bands: list[VisitedHeight], mark: SetupMark, axes: dict[str, str], by_height: bool) -> dict[str, Any]:
    last = max(bands, key=lambda one: _place(one, by_height).value)
    return end_letter(M_TO_MM * _place(last, by_height).value, last.scz.value, mark, axes) | {"xshift": 8, "yshift": 15}


def _title(by_height: bool) -> str:
    return "ride height over the axle [mm]" if by_height else "sunk since standing [mm]"


def _bands(setup: SetupResult, axle: AxleEnd) -> list[VisitedHeight]:
    """The setup's bands on an axle, the least sunk first."""
    return sorted((one for one in setup.visited if one.axle == axle), key=lambda one: one.sink.value)


def _curve_areas(result: DayResult) -> list[float]:
    speed = _reference_speed(result)
    curves = [fitted_curve(s, axle, _bands(s, axle), speed) for s in result.setups for axle in AXLES]
    return [area for curve in curves if curve for area in curve.scz]


def _ranges(result: DayResult, by_height: bool) -> dict[str, list[float]]:
    """Shared by both axles, so that their slopes compare."""
    bands = [one for setup in result.setups for one in setup.visited]
    if not bands:
        return {}
    places = [M_TO_MM * end for one in bands for end in (_place(one, by_height).low95, _place(one, by_height).high95)]
    areas = [end for one in bands for end in (one.scz.low95, one.scz.high95)] + _curve_areas(result)
    return {"x": padded(min(places), max(places), 0.1), "y": padded(min(areas), max(areas), 0.12)}
