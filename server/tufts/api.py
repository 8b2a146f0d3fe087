"""Photos of tufts and the marks on them as JSON."""

from __future__ import annotations

import dataclasses
import math
from typing import Annotated

from fastapi import APIRouter, Path
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.api import REFUSALS, Number
from server.days.revisions import newest_day
from server.days.schemas import Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.testday.values import Day
from server.tufts.adding_job import queue_photos, sent_photos
from server.tufts.changing import change_photo
from server.tufts.marking import MarkEntry, keep_marks
from server.tufts.schemas import (
    KeptMarks,
    MarkView,
    NewPhotos,
    PhotoChange,
    PhotoReadings,
    PhotoView,
    SentMarks,
)
from server.tufts.service import NamedMark, Photo, find_photo, layers_of, photos_of

router = APIRouter(prefix="/api", tags=["tufts"], responses=REFUSALS)
PhotoId = Annotated[int, Path(ge=1, le=2**31)]
PLACES = 5
KEPT = ("x_px", "y_px", "direction_rad", "by", "length_px", "direction_u_rad", "direction_settled_by", "spread_rad")


@router.get("/days/{day_id}/photos", name="api_photos", summary="The photos of a day")
def photos(day_id: Number, archive: TheArchive) -> list[PhotoView]:
    """In the order of their taking; those that were taken out are left out."""
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        return [PhotoView.model_validate(one) for one in photos_of(session, day, day_id)]


@router.post("/days/{day_id}/photos", name="api_add_photos", status_code=202, summary="Add photos to a day")
def add(day_id: Number, sent: NewPhotos, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """Each is decoded by the job; what is no picture is told of there, the others are kept."""
    with archive.database.writing() as session:
        _, day = newest_day(archive, session, day_id)
        facts = sent.model_dump(exclude={"uploads"})
        job_id = queue_photos(archive, session, day_id, sent_photos(session, sent.uploads, day, **facts), person)
    runner.wake()
    return Queued(job_id=job_id)


@router.get("/days/{day_id}/photos/{photo_id}", name="api_photo", summary="A photo with the readings of it")
def photo(day_id: Number, photo_id: PhotoId, archive: TheArchive) -> PhotoReadings:
    """Every reader's marks as they stand, and the program's own proposals."""
    with archive.database.reading() as session:
        found, _ = photo_and_day(archive, session, day_id, photo_id)
        layers = layers_of(session, [found.id]).get(found.id, {})
    views = {layer: [mark_view(one) for one in marks] for layer, marks in layers.items()}
    return PhotoReadings(**PhotoView.model_validate(found).model_dump(), readings=views)


@router.post("/days/{day_id}/photos/{photo_id}", name="api_change_photo", summary="Say what a photo shows")
def change(
    day_id: Number, photo_id: PhotoId, sent: PhotoChange, archive: TheArchive, person: CurrentPerson
) -> PhotoView:
    """Its run, part, camera view, notes; what stood before stays in the history."""
    said = sent.model_dump(exclude={"reason"}, exclude_none=True)
    with archive.database.writing() as session:
        found, day = photo_and_day(archive, session, day_id, photo_id)
        if "run" in said:
            said["settled"] = True
        change_photo(session, day, found, who=person, reason=sent.reason, **said)
        return PhotoView.model_validate(find_photo(session, day, day_id, photo_id))


@router.post("/days/{day_id}/photos/{photo_id}/marks", name="api_marks", summary="Set, change and take back marks")
def mark(
    day_id: Number, photo_id: PhotoId, sent: SentMarks, archive: TheArchive, person: CurrentPerson
) -> KeptMarks:
    """All of them or none; one that was kept before is answered as kept. Each person marks a reading of their own."""
    entries = [MarkEntry(**one.model_dump()) for one in sent.entries]
    with archive.database.writing() as session:
        found, _ = photo_and_day(archive, session, day_id, photo_id)
        fresh = keep_marks(session, found, person, entries, who=person, reason=sent.reason)
    return KeptMarks(entries=[one.entry for one in entries], kept=fresh)


def photo_and_day(archive: Archive, session: Session, day_id: int, photo_id: int) -> tuple[Photo, Day]:
    """A photo and its day as they stand. Raises NotFoundError."""
    _, day = newest_day(archive, session, day_id)
    return find_photo(session, day, day_id, photo_id), day


def mark_view(one: NamedMark) -> MarkView:
    """A mark as JSON."""
    values = dataclasses.asdict(one.mark)
    kept = {name: values[name] for name in KEPT}
    words = {"condition": one.mark.condition or "", "station": one.mark.station or ""}
    return MarkView(mark=one.key, number=one.number, **kept, **words)


def degrees(angle_rad: float | None) -> float | None:
    """As a page shows it."""
    return None if angle_rad is None else round(math.degrees(angle_rad), PLACES)
