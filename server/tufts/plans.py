"""The plan of a part: its stations as they lie on it, and stations taken from a marked picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.errors import StillairError
from server.testday.tufts import TuftMark, TuftStation
from server.tufts.glyphs import Glyph, glyph_of
from server.tufts.service import Photo

PLAN_UNITS = 1000.0  # the plan's longer side, in units of its drawing
MARGIN = 60.0
NO_PART = "Name the picture’s part first, on its own page; stations belong to one."
NO_MARKS = "Nobody marked that picture yet; mark it like a photo, then take its marks as stations."
NO_WIDTH = "How wide the whole picture is on the part must be a number of millimetres above zero."
WIDEST_MM = 20_000.0


@dataclass(frozen=True, slots=True)
class PlanFigure:
    """Stations drawn on the plane of their part. places: (glyph, name)."""

    width: float
    height: float
    scale: float
    places: tuple[tuple[Glyph, str], ...]


def plan_figure(stations: Sequence[TuftStation]) -> PlanFigure:
    """The plan, y downwards as on a picture, a margin about it."""
    xs, ys = [one.x_m for one in stations], [one.y_m for one in stations]
    span = max(max(xs) - min(xs), max(ys) - min(ys)) or 1.0
    per_m = PLAN_UNITS / span
    placed = []
    for one in stations:
        x, y = MARGIN + (one.x_m - min(xs)) * per_m, MARGIN + (one.y_m - min(ys)) * per_m
        mark = TuftMark(x, y, one.direction_rad, one.condition, "person", True, station=one.name)
        placed.append((glyph_of(mark, "predicted"), one.name))
    width = (max(xs) - min(xs)) * per_m + 2 * MARGIN
    height = (max(ys) - min(ys)) * per_m + 2 * MARGIN
    return PlanFigure(round(width, 1), round(height, 1), round(width / 720.0, 3), tuple(placed))


def stations_from_picture(
    photo: Photo, marks: Sequence[TuftMark], width_mm: str, setup: str = ""
) -> tuple[TuftStation, ...]:
    """The marks of a picture as stations, from left to right, row by row as they were set. Raises StillairError."""
    if not photo.part:
        raise StillairError(NO_PART)
    if not marks:
        raise StillairError(NO_MARKS)
    per_px = _millimetres(width_mm) / photo.width_px / 1000.0
    return tuple(
        replace(
            TuftStation(photo.part, one.station or str(number), one.x_px * per_px, one.y_px * per_px),
            direction_rad=one.direction_rad,
            condition=one.condition,
            setup=setup,
        )
        for number, one in enumerate(marks, start=1)
    )


def _millimetres(text: str) -> float:
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 < value <= WIDEST_MM:
        raise StillairError(NO_WIDTH)
    return value
