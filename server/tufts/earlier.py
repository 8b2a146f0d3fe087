"""Stations of a part that an earlier day has, offered where a day has photos of that part and none; taken over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.days.service import list_days
from server.days.tables import StoredDay
from server.errors import StillairError
from server.testday.tufts import PointPair
from server.testday.values import Day
from server.tufts.changing import set_stations, set_view
from server.tufts.service import Photo, photos_of, registration_of, station_values, stations_of, views_of
from server.tufts.tables import TuftPhoto, TuftStations, TuftView

GONE = "That day has no stations of {part}."


@dataclass(frozen=True, slots=True)
class EarlierStations:
    """Stations of a part on another day. views: camera views of both days on which its points are known."""

    day_id: int
    day: str
    part: str
    stations: int
    views: tuple[str, ...]


def earlier_stations(session: Session, day_id: int, photos: Sequence[Photo]) -> tuple[EarlierStations, ...]:
    """Of each part that has photos and no stations, what the latest other day has."""
    have = {part for (part, _), row in stations_of(session, day_id).items() if row.stations}
    parts = {one.part for one in photos if one.part and one.kind == "photo"} - have
    if not parts:
        return ()
    chosen = select(TuftStations.day_id).where(TuftStations.part.in_(parts), TuftStations.day_id != day_id).distinct()
    others = set(session.scalars(chosen))
    days = [one for one in list_days(session) if one.id in others]
    offers = (_offer(session, part, days, photos) for part in sorted(parts))
    return tuple(one for one in offers if one is not None)


def _offer(session: Session, part: str, days: Sequence[StoredDay], photos: Sequence[Photo]) -> EarlierStations | None:
    for other in days:
        rows = [row for (of, _), row in stations_of(session, other.id).items() if of == part and row.stations]
        if rows:
            mine = {one.view for one in photos if one.part == part and one.view}
            views = sorted(view for view, of in views_of(session, other.id) if of == part and view in mine)
            return EarlierStations(other.id, other.name, part, max(len(row.stations) for row in rows), tuple(views))
    return None


def take_over(session: Session, day: Day, day_id: int, part: str, other_id: int, *, who: str) -> tuple[int, int]:
    """Stations of a part, and how it lay on views that both days have, from another day. Gives how many of each.

    Predictions of setups that this day does not have stay behind. Raises StillairError where there is nothing.
    """
    known = {setup.name for setup in day.setups} | {""}
    rows = [row for (of, setup), row in stations_of(session, other_id).items() if of == part and setup in known]
    rows = [row for row in rows if row.stations]
    if not rows:
        raise StillairError(GONE.format(part=part or "that part"))
    for row in rows:
        set_stations(session, day, day_id, station_values(row), setup=row.setup, source=_source(row), who=who)
    count = sum(len(row.stations) for row in rows)
    return count, _views(session, day, day_id, part, other_id, who=who)


def _source(row: TuftStations) -> str:
    return f"test day {row.day_id}" + (f", {row.source}" if row.source else "")


def _views(session: Session, day: Day, day_id: int, part: str, other_id: int, *, who: str) -> int:
    own, photos = views_of(session, day_id), photos_of(session, day, day_id)
    taken = 0
    for (view, of), row in views_of(session, other_id).items():
        here = next((one for one in photos if one.view == view and one.part == part and one.kind == "photo"), None)
        if of != part or here is None or (view, part) in own:
            continue
        set_view(session, here, _laid(session, row, here), who=who)
        taken += 1
    return taken


def _laid(session: Session, row: TuftView, here: Photo) -> tuple[PointPair, ...]:
    return registration_of(row, here, session.get_one(TuftPhoto, row.photo_id)).pairs
