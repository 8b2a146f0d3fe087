"""Stations of a part placed on a photo by the points that a person found on its view."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from server.errors import StillairError
from server.testday.tufts import PointPair, TuftMark, TuftStation, ViewRegistration
from server.tufts.service import Photo, registration_of, station_values, stations_for, stations_of, views_of
from server.tufts.tables import TuftPhoto

if TYPE_CHECKING:
    from server.aero.homography import Homography
    from server.analysis.tuft_registration import SeenStation


@dataclass(frozen=True, slots=True)
class PlacedStation:
    """A station on a picture. key: names its place there; mark: its place, and the predicted direction there."""

    key: str
    seen: SeenStation
    mark: TuftMark

    @property
    def station(self) -> TuftStation:
        """The station itself."""
        return self.seen.station


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
    view = registration_of(row, photo, session.get_one(TuftPhoto, row.photo_id))
    return Lying(view.pairs, homography_of(view), row.who)


@lru_cache(maxsize=256)
def homography_of(view: ViewRegistration) -> Homography:
    """From the part's plane to the picture. Raises StillairError where the points cannot tell."""
    from server.aero.homography import DegeneratePointsError
    from server.analysis.tuft_registration import register

    try:
        return register(view)
    except DegeneratePointsError as why:
        raise StillairError(str(why)) from None


def placed_stations(session: Session, photo: Photo) -> tuple[PlacedStation, ...]:
    """The stations of the photo's part that its view shows; none while the view is not registered."""
    row = stations_for(stations_of(session, photo.day_id), photo.part, photo.setup) if photo.part else None
    lying = part_on_photo(session, photo) if row is not None else None
    if row is None or lying is None:
        return ()
    from server.analysis.tuft_registration import seen_stations

    seen = seen_stations(station_values(row), lying.homography)
    return tuple(_placed(one) for one in seen if 0 <= one.x_px <= photo.width_px and 0 <= one.y_px <= photo.height_px)


def _placed(one: SeenStation) -> PlacedStation:
    station = one.station
    name = hashlib.sha256(f"{station.part}\n{station.name}".encode()).hexdigest()[:24]
    place = (one.x_px, one.y_px, one.direction_rad, station.condition)
    mark = TuftMark(*place, "person", False, part=station.part, station=station.name)
    return PlacedStation(f"station-{name}", one, mark)
