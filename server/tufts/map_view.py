"""Stations of a part with both directions there: predicted and seen, or seen in two setups; for a figure and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.errors import NotFoundError
from server.tufts.agreeing import Readings, first_of_each, moved_tufts, predicted_on_part
from server.tufts.day_view import seen_at_stations
from server.tufts.photo_view import PhotoNow

if TYPE_CHECKING:
    from server.figures.tuft_map import MapPoint

PREDICTED, SEEN = "predicted", "seen"
NONE = "No tuft of {part} in setup {setup} is held against {what} yet."


@dataclass(frozen=True, slots=True)
class MapOf:
    """What a map shows: a part in a setup, against the prediction (against empty) or another setup."""

    part: str
    setup: str
    against: str = ""

    @property
    def names(self) -> tuple[str, str]:
        """What its two directions are called, the one that is held against first."""
        return (f"setup {self.against}", f"setup {self.setup}") if self.against else (PREDICTED, SEEN)


def map_points(photos: Sequence[PhotoNow], of: MapOf) -> list[MapPoint]:
    """The stations that both have. Raises NotFoundError where there are none."""
    mine = _of(photos, of.part, of.setup)
    seen = seen_at_stations(mine)
    places = {(p.station.part, p.station.name): (p.station.x_m, p.station.y_m) for one in photos for p in one.stations}
    if of.against:
        found = _between(seen_at_stations(_of(photos, of.part, of.against)), seen, places)
    else:
        predicted = first_of_each([predicted_on_part(one.stations) for one in mine])
        found = _pairs(predicted, first_of_each(seen), places)
    if not found:
        what = f"setup {of.against}" if of.against else "a prediction"
        raise NotFoundError(NONE.format(part=of.part or "that part", setup=of.setup or "—", what=what))
    return found


def _of(photos: Sequence[PhotoNow], part: str, setup: str) -> list[PhotoNow]:
    return [one for one in photos if one.photo.kind == "photo" and (one.photo.part, one.photo.setup) == (part, setup)]


def _pairs(
    first: Readings, second: Readings, places: dict[tuple[str, str], tuple[float, float]]
) -> list[MapPoint]:
    from server.figures.tuft_map import MapPoint

    return [
        MapPoint(key[1], *places[key], one.direction_rad, second[key].direction_rad, one.condition or "",
                 second[key].condition or "")
        for key, one in first.items() if key in second and key in places
    ]  # fmt: skip


def _between(
    first: Sequence[Readings], second: Sequence[Readings], places: dict[tuple[str, str], tuple[float, float]]
) -> list[MapPoint]:
    from dataclasses import replace

    told = {(one.part, one.station): one for one in moved_tufts(first, second)}
    points = []
    for one in _pairs(first_of_each(first), first_of_each(second), places):
        moved = next((m for (_, name), m in told.items() if name == one.station), None)
        turned = None if moved is None or one.first_rad is None else one.first_rad + moved.turn_rad
        sure = {"half95_rad": moved.half95_rad, "moved": moved.moved, "second_rad": turned} if moved else {}
        points.append(replace(one, **sure))
    return points
