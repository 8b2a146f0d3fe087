"""The timeline of a season: every day's value of every setup with its interval, one panel a car."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from plotly import graph_objects as go

from server.figures.marks import circle, escape, new_figure, title_text
from server.figures.season_points import ON_SCREEN, SeasonPoint
from server.figures.table import Table
from server.figures.theme import LIGHT, LIGHT_TO_DARK, axis

PANEL_PX, FRAME_PX = 330, 110
GAP = 0.11  # between panels, as a share of the height
DATES, NARROW_DATES = 7, 2  # written at most
LETTERS, NARROW_LETTERS = 60, 24  # points with a letter each; of more, only the newest of each setup has one
Placed = tuple[SeasonPoint, float]
COLUMNS = ("date", "day", "car", "setup", "letter", "recorded", "value", "u", "low 95 %", "high 95 %", "unit")


def season_table(points: Sequence[SeasonPoint], quantity: str) -> Table:
    """The numbers that the timeline draws."""
    factor, unit = ON_SCREEN[quantity].factor, ON_SCREEN[quantity].unit
    rows = (
        (one.day.isoformat(), one.day_name, one.car, one.setup, one.label, one.recorded,
         *(factor * number for number in (one.value, one.u, one.low95, one.high95)), unit)
        for one in points
    )  # fmt: skip
    return Table(COLUMNS, tuple(rows))


def season_json(points: Sequence[SeasonPoint], quantity: str, narrow: bool) -> str:
    """JSON that the page's plot module draws."""
    figure = season_timeline(points, quantity, narrow)
    return f'{{"figure":{figure.to_json()},"dark":{json.dumps(LIGHT_TO_DARK)}}}'


def season_timeline(points: Sequence[SeasonPoint], quantity: str, narrow: bool = False) -> go.Figure:
    """Days from left to right at their dates, setups of a day beside each other; 95 % bars, thick at one u."""
    cars = list(dict.fromkeys(one.car for one in points))
    figure = new_figure(FRAME_PX + PANEL_PX * max(1, len(cars)), narrow)
    places, factor = _places(points), ON_SCREEN[quantity].factor
    every = len(points) <= (NARROW_LETTERS if narrow else LETTERS)
    title = title_text(f"{ON_SCREEN[quantity].words} [{ON_SCREEN[quantity].unit}]", narrow)
    traces: list[dict[str, Any]] = []
    panels: dict[str, Any] = {"xaxis": _dates(points, places, narrow, _name("y", len(cars) - 1 if cars else 0))}
    for number, car in enumerate(cars):
        mine = [(one, x) for one, x in zip(points, places, strict=True) if one.car == car]
        traces += _panel(number, mine, every_letter=every, factor=factor)
        shared = {"domain": _domain(number, len(cars)), "range": _range(points, factor)}
        panels[_name("yaxis", number)] = axis(title, **shared)
    names = [_car_name(car, number) for number, car in enumerate(cars)] if len(cars) > 1 else []
    figure.update_layout(panels, annotations=names)
    figure.add_traces(traces)
    return figure


def _places(points: Sequence[SeasonPoint]) -> list[float]:
    """Where each point stands, in days from the first: setups of one day of a car side by side, clear of the next."""
    first = min((one.day for one in points), default=dt.date.min)
    days = sorted({(one.day - first).days for one in points})
    gap = min((b - a for a, b in pairwise(days)), default=1)
    groups: dict[tuple[str, dt.date], list[int]] = {}
    for number, one in enumerate(points):
        groups.setdefault((one.car, one.day), []).append(number)
    most = max((len(group) for group in groups.values()), default=1)
    step = min(0.8 * gap / most, max(1, days[-1] if days else 1) / 28.0)
    places = [0.0] * len(points)
    for (_, day), group in groups.items():
        for place, number in enumerate(group):
            places[number] = (day - first).days + step * (place - 0.5 * (len(group) - 1))
    return places


def _panel(number: int, placed: Sequence[Placed], *, every_letter: bool, factor: float) -> Iterator[dict[str, Any]]:
    """The traces of a car: as plain values, which the plot library then checks once and not at every step."""
    axes = {"type": "scatter", "xaxis": "x", "yaxis": _name("y", number)}
    yield _thick_u(placed, axes, factor)
    for key in dict.fromkeys((one.setup, one.label) for one, _ in placed):
        mine = [(one, x) for one, x in placed if (one.setup, one.label) == key]
        yield _points(mine, axes, factor, every_letter=every_letter)


def _thick_u(placed: Sequence[Placed], axes: dict[str, str], factor: float) -> dict[str, Any]:
    x: list[float | None] = []
    y: list[float | None] = []
    for one, place in placed:
        x += [place, place, None]
        y += [factor * (one.value - one.u), factor * (one.value + one.u), None]
    return dict(x=x, y=y, mode="lines", line={"color": LIGHT["ink"], "width": 6}, hoverinfo="skip", **axes)


def _points(placed: Sequence[Placed], axes: dict[str, str], factor: float, *, every_letter: bool) -> dict[str, Any]:
    last = len(placed) - 1
    return dict(
        x=[place for _, place in placed],
        y=[factor * one.value for one, _ in placed],
        mode="markers+text",
        text=[f" {one.label}" if every_letter or number == last else "" for number, (one, _) in enumerate(placed)],
        textposition="middle right",
        cliponaxis=False,
        marker=circle(placed[0][0].mark, 13),
        error_y={
            "type": "data",
            "symmetric": False,
            "array": [factor * (one.high95 - one.value) for one, _ in placed],
            "arrayminus": [factor * (one.value - one.low95) for one, _ in placed],
            "color": LIGHT["ink"],
            "thickness": 2,
            "width": 5,
        },
        hovertext=[_hover(one) for one, _ in placed],
        hovertemplate="%{hovertext}<extra></extra>",
        **axes,
    )


def _hover(one: SeasonPoint) -> str:
    lines = [f"{one.day.isoformat()}, {one.day_name}", f"setup {one.setup}", one.recorded]
    return "<br>".join(escape(line) for line in lines if line)


def _range(points: Sequence[SeasonPoint], factor: float) -> list[float]:
    """One range for all cars, so that they can be compared."""
    low = factor * min((one.low95 for one in points), default=0.0)
    high = factor * max((one.high95 for one in points), default=1.0)
    margin = 0.06 * (high - low) or 1.0
    return [low - margin, high + margin]


def _dates(points: Sequence[SeasonPoint], places: Sequence[float], narrow: bool, anchor: str) -> dict[str, Any]:
    days = sorted({one.day for one in points})
    first = days[0] if days else dt.date.min
    written = _spread(days, NARROW_DATES if narrow else DATES)
    margin = 0.08 * max(max(places, default=1.0) - min(places, default=0.0), 1.0)
    return axis(
        "day",
        tickvals=[(day - first).days for day in written],
        ticktext=[day.isoformat() for day in written],
        range=[min(places, default=0.0) - margin, max(places, default=1.0) + margin],
        tickangle=0,
        anchor=anchor,
        showgrid=True,
    )


def _spread(days: Sequence[dt.date], most: int) -> list[dt.date]:
    """At most so many days, the first and the last among them, none so near the one before that texts would touch."""
    if len(days) < 2:
        return list(days)
    room = (days[-1] - days[0]).days / most
    chosen = [days[0]]
    for day in days[1:-1]:
        if (day - chosen[-1]).days >= room and (days[-1] - day).days >= room:
            chosen.append(day)
    return [*chosen, days[-1]]


def _domain(number: int, panels: int) -> list[float]:
    height = (1.0 - GAP * (panels - 1)) / panels if panels < 5 else 1.0 / panels
    top = 1.0 - number * (height + (GAP if panels < 5 else 0.0))
    return [max(0.0, top - height), top]


def _name(axis_name: str, number: int) -> str:
    return axis_name if number == 0 else f"{axis_name}{number + 1}"


def _car_name(car: str, number: int) -> dict[str, Any]:
    return {
        "text": escape(car or "car without a name"),
        "x": 0.0,
        "xref": "paper",
        "xanchor": "left",
        "y": 1.0,
        "yref": f"{_name('y', number)} domain",
        "yanchor": "bottom",
        "showarrow": False,
    }
