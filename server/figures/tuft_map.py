"""Where on a part tufts do other than said: two directions at each station, from the prediction and the photo, or from
two setups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from plotly import graph_objects as go

from server.figures.marks import escape, new_figure
from server.figures.table import Cell, Table
from server.figures.theme import LIGHT, axis

HEIGHT_PX = 520
NARROW_HEIGHT_PX = 460
MM = 1000.0
LENGTH = 0.42  # of an arrow, over the middle distance of neighbours
HEAD_RAD = math.radians(155.0)
HEAD = 0.28
ALONE_MM = 100.0
SCALE = "Cividis"
FULL_TURN_DEG = 90.0  # turns beyond have the scale's last tone


@dataclass(frozen=True, slots=True)
class MapPoint:
    """A station in the plane of its part [m] with both directions there [rad, from +x towards +y] and conditions.

    half95_rad: half width of the 95 % interval of the turn, None where it is not told; moved: whether it leaves out 0.
    """

    station: str
    x_m: float
    y_m: float
    first_rad: float | None
    second_rad: float | None
    first_condition: str
    second_condition: str
    half95_rad: float | None = None
    moved: bool | None = None

    @property
    def turn_rad(self) -> float | None:
        """The second's direction from the first's, within (−π, π]."""
        if self.first_rad is None or self.second_rad is None:
            return None
        return math.remainder(self.second_rad - self.first_rad, math.tau)


def tuft_map_table(points: Sequence[MapPoint], names: tuple[str, str]) -> Table:
    """Station by station, the widest turn first."""
    rows = [_cells(one) for one in sorted(points, key=lambda one: -abs(one.turn_rad or 0.0))]
    one, two = names
    columns = (
        *("station", "x [mm]", "y [mm]", f"{one} direction [°]", f"{two} direction [°]", "turn [°]"),
        *("U95 of the turn [°]", f"{one} condition", f"{two} condition"),
    )
    return Table(columns, tuple(rows))


def _cells(one: MapPoint) -> tuple[Cell, ...]:
    turns = (_degrees(each) for each in (one.first_rad, one.second_rad, one.turn_rad, one.half95_rad))
    return (one.station, MM * one.x_m, MM * one.y_m, *turns, one.first_condition or None, one.second_condition or None)


def _degrees(angle_rad: float | None) -> float | None:
    return None if angle_rad is None else math.degrees(angle_rad)


def tuft_map(points: Sequence[MapPoint], names: tuple[str, str], narrow: bool = False) -> go.Figure:
    """The part's plane, y downwards as on a picture: the first as a hollow diamond and a broken arrow, the second as a
    filled circle and a full one, its tone the turn between them; a square about stations whose conditions differ."""
    figure = new_figure(NARROW_HEIGHT_PX if narrow else HEIGHT_PX, narrow)
    length = LENGTH * _pitch(points)
    for which, dash in ((0, "dot"), (1, "solid")):
        figure.add_trace(_arrows(points, which, length, dash))
    figure.add_trace(_firsts(points, names[0]))
    figure.add_trace(_seconds(points, names))
    figure.add_trace(_differ(points))
    figure.update_xaxes(axis("x on the part [mm]", constrain="domain"))
    figure.update_yaxes(axis("y on the part [mm]", scaleanchor="x", autorange="reversed", constrain="domain"))
    below = {"orientation": "h", "x": 0.0, "y": 1.02, "xanchor": "left", "yanchor": "bottom"}
    figure.update_layout(showlegend=True, legend=below, margin={"t": 110 if narrow else 70})
    return figure


def _pitch(points: Sequence[MapPoint]) -> float:
    """The middle distance of a station to its nearest neighbour [mm]."""
    places = MM * np.array([(one.x_m, one.y_m) for one in points]).reshape(-1, 2)
    if len(places) < 2:
        return ALONE_MM
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return float(np.median(apart.min(axis=1))) or ALONE_MM


def _way(one: MapPoint, which: int) -> float | None:
    return one.second_rad if which else one.first_rad


def _arrows(points: Sequence[MapPoint], which: int, length: float, dash: str) -> go.Scatter:
    x: list[float | None] = []
    y: list[float | None] = []
    for one in points:
        way = _way(one, which)
        if way is None:
            continue
        tip = (MM * one.x_m + length * math.cos(way), MM * one.y_m + length * math.sin(way))
        head = [(tip[0] + HEAD * length * math.cos(way + turn), tip[1] + HEAD * length * math.sin(way + turn))
                for turn in (HEAD_RAD, -HEAD_RAD)]  # fmt: skip
        line = [(MM * one.x_m, MM * one.y_m), tip, head[0], tip, head[1]]
        x += [place[0] for place in line] + [None]
        y += [place[1] for place in line] + [None]
    line_of = {"color": LIGHT["ink"], "width": 2.5 if which else 2.0, "dash": dash}
    return go.Scatter(x=x, y=y, mode="lines", line=line_of, hoverinfo="skip", showlegend=False)


def _firsts(points: Sequence[MapPoint], name: str) -> go.Scatter:
    marker = {"symbol": "diamond-open", "size": 13, "line": {"color": LIGHT["ink"], "width": 2}, "color": LIGHT["ink"]}
    x, y = [MM * one.x_m for one in points], [MM * one.y_m for one in points]
    return go.Scatter(x=x, y=y, mode="markers", marker=marker, name=escape(name), hoverinfo="skip")


def _seconds(points: Sequence[MapPoint], names: tuple[str, str]) -> go.Scatter:
    told = [one for one in points if one.turn_rad is not None]
    turns = [abs(math.degrees(one.turn_rad or 0.0)) for one in told]
    marker = {
        "symbol": "circle", "size": 10, "color": turns, "colorscale": SCALE, "cmin": 0.0, "cmax": FULL_TURN_DEG,
        "line": {"color": LIGHT["ink"], "width": 2}, "showscale": False,  # its bar would need inline styles
    }  # fmt: skip
    return go.Scatter(
        x=[MM * one.x_m for one in told], y=[MM * one.y_m for one in told], mode="markers+text", marker=marker,
        name=escape(names[1]), text=[_turn_words(one) for one in told], textposition="bottom center",
        hovertext=[_hover(one, names) for one in told], hoverinfo="text", cliponaxis=False,
    )  # fmt: skip


def _turn_words(one: MapPoint) -> str:
    turn = math.degrees(one.turn_rad or 0.0)
    words = f"{turn:+.0f}°".replace("-", "−") + (", moved" if one.moved else "")
    return words if abs(turn) >= 10.0 or one.moved else ""


def _hover(one: MapPoint, names: tuple[str, str]) -> str:
    turn = f"{math.degrees(one.turn_rad or 0.0):+.1f}°".replace("-", "−")
    half = "" if one.half95_rad is None else f" ± {math.degrees(one.half95_rad):.1f}°"
    conditions = zip(names, (one.first_condition, one.second_condition), strict=True)
    told = "; ".join(f"{name}: {condition}" for name, condition in conditions if condition)
    return escape(f"{one.station}: turned by {turn}{half}" + (f"; {told}" if told else ""))


def _differ(points: Sequence[MapPoint]) -> go.Scatter:
    other = [one for one in points if one.first_condition and one.second_condition
             and one.first_condition != one.second_condition]  # fmt: skip
    marker = {"symbol": "square-open", "size": 24, "line": {"color": LIGHT["ink"], "width": 2.5}, "color": LIGHT["ink"]}
    words = [escape(f"{one.station}: {one.first_condition}, then {one.second_condition}") for one in other]
    return go.Scatter(
        x=[MM * one.x_m for one in other], y=[MM * one.y_m for one in other], mode="markers", marker=marker,
        name="another condition", hovertext=words, hoverinfo="text", showlegend=bool(other),
    )  # fmt: skip
