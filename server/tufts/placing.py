"""Stations of a part placed on a photo by the points that a person found on its view."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy.orm import Session

from server.aero.homography import DegeneratePointsError, Homography, fit_homography
from server.errors import StillairError
from server.testday.tufts import PointPair, TuftMark, TuftStation
from server.tufts.service import Photo, registration_of, station_values, stations_for, stations_of, views_of
from server.tufts.tables import TuftPhoto


@dataclass(frozen=True, slots=True)
class PlacedStation:
    """A station on a picture. key: names its place there; mark: its place, and the predicted direction there."""

    key: str
    station: TuftStation
    mark: TuftMark


@dataclass(frozen=True, slots=True)
class Lying:
    """How a part lies on a photo: its points, and the homography that they tell."""

    pairs: tuple[PointPair, ...]
    homography: Homography
    who: str


def part_on_photo(session: Session, photo: Photo) -> Lying | None:
    """How the photo's part lies on it; None while nobody found the part's points on that view."""
    row = views_of(session, photo.day_id).get((photo.view, photo.part))
    if row is None or not photo.view:
        return None
    pairs = registration_of(row, photo, session.get_one(TuftPhoto, row.photo_id)).pairs
    return Lying(pairs, homography_of(pairs), row.who)


@lru_cache(maxsize=256)
def homography_of(pairs: tuple[PointPair, ...]) -> Homography:
    """From the part's plane to the picture. Raises StillairError where the points cannot tell."""
    part, picture = [(one.x_m, one.y_m) for one in pairs], [(one.x_px, one.y_px) for one in pairs]
    try:
        return fit_homography(part, picture)
    except DegeneratePointsError as why:
        raise StillairError(str(why)) from None


def placed_stations(session: Session, photo: Photo) -> tuple[PlacedStation, ...]:
    """The stations of the photo's part that its view shows; none while the view is not registered."""
    if not photo.part:
        return ()
    row = stations_for(stations_of(session, photo.day_id), photo.part, photo.setup)
    lying = part_on_photo(session, photo) if row is not None else None
    if row is None or lying is None:
        return ()
    return _placed(photo, station_values(row), lying.homography)


def _placed(photo: Photo, stations: Sequence[TuftStation], lie: Homography) -> tuple[PlacedStation, ...]:
    points = [(one.x_m, one.y_m) for one in stations]
    seen, before = lie.to_picture(points), lie.in_view(points)
    turned = lie.direction_on_picture(points, [one.direction_rad or 0.0 for one in stations])
    placed = []
    for station, (x, y), visible, angle in zip(stations, seen.tolist(), before.tolist(), turned.tolist(), strict=True):
        if visible and 0 <= x <= photo.width_px and 0 <= y <= photo.height_px:
            way = None if station.direction_rad is None else angle
            mark = TuftMark(x, y, way, station.condition, "person", False, part=station.part, station=station.name)
            placed.append(PlacedStation(_key(station), station, mark))
    return tuple(placed)


def _key(station: TuftStation) -> str:
    return "station-" + hashlib.sha256(f"{station.part}\n{station.name}".encode()).hexdigest()[:24]
