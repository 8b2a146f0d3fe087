"""Photos of a day as they stand: what is known of each, the readings on it, stations, views, camera clocks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.archive.database import Base
from server.archive.events import PROGRAM
from server.days.service import find_day
from server.errors import NotFoundError
from server.testday.tufts import Condition, MarkedBy, PointPair, TuftMark, TuftStation, ViewRegistration
from server.testday.values import Day
from server.tufts.tables import TuftCamera, TuftMarkRow, TuftPhoto, TuftPhotoFacts, TuftStations, TuftView

Row = TypeVar("Row", bound=Base)
MACHINE = PROGRAM  # the layer of what the program proposes
AS_IT_CAME = ("id", "day_id", "kind", "sha256", "name", "path", "width_px", "height_px", "taken", "camera", "said")
AS_SAID = ("run", "part", "view", "notes", "settled", "standing", "flow_rad", "burst", "removed", "number")
DETAILS = ("length_px", "direction_u_rad", "direction_settled_by", "settled_confidence", "spread_rad")


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it stands: as it came, and what is said of it. setup: that of its run, or what was said."""

    id: int
    day_id: int
    kind: str
    sha256: str
    name: str
    path: str
    width_px: int
    height_px: int
    taken: str
    camera: str
    said: str
    run: int | None
    setup: str
    part: str
    view: str
    notes: str
    settled: bool
    standing: bool
    flow_rad: float | None
    burst: str
    removed: bool
    number: int

    @property
    def subject(self) -> str:
        """As events call it."""
        return f"photo {self.id} ({self.name})"


@dataclass(frozen=True, slots=True)
class NamedMark:
    """A mark with the name that its device gave it, and how often it was changed."""

    key: str
    number: int
    mark: TuftMark


def photos_of(session: Session, day: Day | None, day_id: int, *, removed: bool = False) -> list[Photo]:
    """The photos of a day in the order of their taking, then of their coming. day: None where no setup is asked."""
    rows = session.scalars(select(TuftPhoto).where(TuftPhoto.day_id == day_id))
    facts = newest_facts(session, day_id)
    photos = [_photo(row, facts[row.id], day) for row in rows]
    return sorted((one for one in photos if removed or not one.removed), key=lambda one: (one.taken, one.id))


def find_photo(session: Session, day: Day, day_id: int, photo_id: int) -> Photo:
    """A photo of a day. Raises NotFoundError."""
    row = session.get(TuftPhoto, photo_id)
    if row is None or row.day_id != day_id:
        raise NotFoundError(f"Test day number {day_id} has no photo number {photo_id}.")
    return _photo(row, newest_facts(session, day_id)[row.id], day)


def newest_facts(session: Session, day_id: int) -> dict[int, TuftPhotoFacts]:
    """What is said of each photo of a day now."""
    rows = select(TuftPhotoFacts).join(TuftPhoto, TuftPhoto.id == TuftPhotoFacts.photo_id)
    chosen = rows.where(TuftPhoto.day_id == day_id).order_by(TuftPhotoFacts.number)
    return {row.photo_id: row for row in session.scalars(chosen)}


def newest_facts_of_all(session: Session) -> dict[int, list[tuple[TuftPhoto, TuftPhotoFacts]]]:
    """Day → its photos with what is said of each now."""
    rows = select(TuftPhoto, TuftPhotoFacts).join(TuftPhotoFacts, TuftPhotoFacts.photo_id == TuftPhoto.id)
    newest = {photo.id: (photo, facts) for photo, facts in session.execute(rows.order_by(TuftPhotoFacts.number))}
    found: dict[int, list[tuple[TuftPhoto, TuftPhotoFacts]]] = {}
    for photo, facts in newest.values():
        found.setdefault(photo.day_id, []).append((photo, facts))
    return found


def _photo(row: TuftPhoto, facts: TuftPhotoFacts, day: Day | None) -> Photo:
    runs = day.runs if day else ()
    setup = next((run.setup for run in runs if run.number == facts.run), facts.setup)
    as_it_came = {name: getattr(row, name) for name in AS_IT_CAME}
    return Photo(**as_it_came, **{name: getattr(facts, name) for name in AS_SAID}, setup=setup)


def layers_of(session: Session, photo_ids: Iterable[int]) -> dict[int, dict[str, list[NamedMark]]]:
    """photo → layer → its marks as they stand, in the order in which they were first set."""
    chosen = select(TuftMarkRow).where(TuftMarkRow.photo_id.in_(list(photo_ids)))
    found: dict[tuple[int, str, str], TuftMarkRow] = {}
    for row in session.scalars(chosen.order_by(TuftMarkRow.id)):
        found[row.photo_id, row.layer, row.mark] = row
    layers: dict[int, dict[str, list[NamedMark]]] = {}
    for (photo_id, layer, _), row in found.items():
        if not row.removed:
            layers.setdefault(photo_id, {}).setdefault(layer, []).append(NamedMark(row.mark, row.number, _mark(row)))
    return layers


def _mark(row: TuftMarkRow) -> TuftMark:
    return TuftMark(
        x_px=row.x_px,
        y_px=row.y_px,
        direction_rad=row.direction_rad,
        condition=cast("Condition", row.condition) if row.condition else None,
        by=cast("MarkedBy", row.by),
        accepted=row.layer != MACHINE,
        who=row.layer,
        station=row.station or None,
        **{name: row.detail[name] for name in DETAILS if name in row.detail},
    )


def readings(layers: Mapping[str, Sequence[NamedMark]]) -> dict[str, tuple[TuftMark, ...]]:
    """What people stand behind: their layers without that of the program."""
    return {layer: tuple(one.mark for one in marks) for layer, marks in layers.items() if layer != MACHINE}


def newest_of(session: Session, table: type[Row], day_id: int, *keys: str) -> dict[tuple[Any, ...], Row]:
    """The newest row of a table of this day for each combination of its keys."""
    chosen = select(table).where(table.day_id == day_id).order_by(table.number)  # type: ignore[attr-defined]
    return {tuple(getattr(row, key) for key in keys): row for row in session.scalars(chosen)}


def next_number(session: Session, table: type[Base], **of: Any) -> int:
    """The number of the next row of the same thing."""
    same = [getattr(table, key) == value for key, value in of.items()]
    return (session.scalar(select(func.max(table.number)).where(*same)) or 0) + 1  # type: ignore[attr-defined]


def stations_of(session: Session, day_id: int) -> dict[tuple[str, str], TuftStations]:
    """(part, setup) → the stations; those of no setup hold for all."""
    return newest_of(session, TuftStations, day_id, "part", "setup")  # type: ignore[return-value]


def stations_for(found: Mapping[tuple[str, str], TuftStations], part: str, setup: str) -> TuftStations | None:
    """The stations that a photo of a part in a setup is held against; None where there are none left."""
    row = found.get((part, setup)) or found.get((part, ""))
    return row if row is not None and row.stations else None


def station_values(row: TuftStations) -> tuple[TuftStation, ...]:
    """As plain values."""
    return tuple(TuftStation(part=row.part, setup=row.setup, **one) for one in row.stations)


def views_of(session: Session, day_id: int) -> dict[tuple[str, str], TuftView]:
    """(view, part) → how the part lies there."""
    return newest_of(session, TuftView, day_id, "view", "part")  # type: ignore[return-value]


def registration_of(row: TuftView, photo: Photo, plain: TuftPhoto) -> ViewRegistration:
    """The same for a photo of that view; the points scale with a photo of another size."""
    kx, ky = photo.width_px / plain.width_px, photo.height_px / plain.height_px
    pairs = (PointPair(**{**one, "x_px": one["x_px"] * kx, "y_px": one["y_px"] * ky}) for one in row.pairs)
    return ViewRegistration(row.view, row.part, tuple(pairs))


def camera_clocks(session: Session, day_id: int) -> dict[str, float]:
    """Camera → how far its clock is ahead [s]."""
    return {key[0]: row.ahead_s for key, row in newest_of(session, TuftCamera, day_id, "camera").items()}


def check_day(session: Session, day_id: int) -> None:
    """Raises NotFoundError."""
    find_day(session, day_id)
