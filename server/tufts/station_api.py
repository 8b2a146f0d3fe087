"""Stations, points of views, readings by the program and agreement of tufts as JSON."""

from __future__ import annotations

import dataclasses
from typing import Annotated

from fastapi import APIRouter, Query

from server.days.api import REFUSALS, Number
from server.days.revisions import newest_day
from server.days.schemas import Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.testday.tufts import PointPair, TuftStation, ViewRegistration
from server.tufts.api import PhotoId, photo_and_day
from server.tufts.burst_job import queue_burst
from server.tufts.bursts import find_still, frames_of
from server.tufts.changing import set_stations, set_view
from server.tufts.day_view import day_photos
from server.tufts.earlier import take_over
from server.tufts.map_view import PREDICTED, SEEN, MapOf, map_points
from server.tufts.placing import homography_of, part_on_photo, placed_stations
from server.tufts.reading_job import queue_reading
from server.tufts.service import photos_of, stations_of
from server.tufts.station_schemas import (
    AgreementView,
    EarlierStationsBody,
    Pair,
    PlacedView,
    PointsView,
    SentPoints,
    SentStations,
    StationAgreement,
    StationBody,
    StationsView,
    TakenOver,
)

router = APIRouter(prefix="/api", tags=["tufts"], responses=REFUSALS)
Name = Annotated[str, Query(max_length=120)]


@router.get("/days/{day_id}/tuft-stations", name="api_stations", summary="The stations of a day's parts")
def stations(day_id: Number, archive: TheArchive) -> list[StationsView]:
    """As they stand, part by part; setup is empty where they hold for all."""
    with archive.database.reading() as session:
        newest_day(archive, session, day_id)
        rows = [row for row in stations_of(session, day_id).values() if row.stations]
        return [
            StationsView(
                part=row.part, setup=row.setup, number=row.number, source=row.source, who=row.who,
                stations=[StationBody(**{**one, "condition": one["condition"] or ""}, part=row.part, setup=row.setup)
                          for one in row.stations],
            ) for row in rows
        ]  # fmt: skip


@router.post("/days/{day_id}/tuft-stations", name="api_set_stations", summary="Set stations of parts")
def set_them(
    day_id: Number, sent: SentStations, archive: TheArchive, person: CurrentPerson
) -> list[StationsView]:
    """What stood before stays in the history."""
    values = [TuftStation(**{**one.model_dump(), "condition": one.condition or None}) for one in sent.stations]
    with archive.database.writing() as session:
        _, day = newest_day(archive, session, day_id)
        for setup in dict.fromkeys(one.setup for one in values):
            mine = [one for one in values if one.setup == setup]
            set_stations(session, day, day_id, mine, setup=setup, source=sent.source, who=person)
    return stations(day_id, archive)


@router.post("/days/{day_id}/tuft-stations/earlier", name="api_take_stations", summary="Take over a day's stations")
def take_them(
    day_id: Number, sent: EarlierStationsBody, archive: TheArchive, person: CurrentPerson
) -> TakenOver:
    """Of one part, with how it lay on camera views that both days have."""
    with archive.database.writing() as session:
        _, day = newest_day(archive, session, day_id)
        count, views = take_over(session, day, day_id, sent.part, sent.from_day, who=person)
    return TakenOver(stations=count, views=views)


@router.get("/days/{day_id}/photos/{photo_id}/points", name="api_points", summary="How the part lies on a photo")
def points(day_id: Number, photo_id: PhotoId, archive: TheArchive) -> PointsView:
    """The points found on its view, and where the stations lie by them."""
    with archive.database.reading() as session:
        photo, _ = photo_and_day(archive, session, day_id, photo_id)
        lying, placed = part_on_photo(session, photo), placed_stations(session, photo)
    fit = lying.homography if lying else None
    return PointsView(
        points=[Pair(**dataclasses.asdict(one)) for one in (lying.pairs if lying else ())],
        residual_px=fit.residual_px if fit is not None and fit.dof else None,
        stations=[PlacedView(part=one.station.part, name=one.station.name, x_px=one.mark.x_px, y_px=one.mark.y_px,
                             direction_rad=one.mark.direction_rad) for one in placed],
    )  # fmt: skip


@router.post("/days/{day_id}/photos/{photo_id}/points", name="api_set_points", summary="Lay a part on a photo's view")
def set_points(
    day_id: Number, photo_id: PhotoId, sent: SentPoints, archive: TheArchive, person: CurrentPerson
) -> PointsView:
    """At least four points, well apart; they hold for all photos of the view."""
    pairs = [PointPair(**one.model_dump()) for one in sent.points]
    with archive.database.writing() as session:
        photo, _ = photo_and_day(archive, session, day_id, photo_id)
        if len(pairs) >= 4:
            homography_of(ViewRegistration(photo.view, photo.part, tuple(pairs)))
        set_view(session, photo, pairs, who=person)
    return points(day_id, photo_id, archive)


@router.post(
    "/days/{day_id}/photos/{photo_id}/read", name="api_read_photo", status_code=202, summary="Have a photo read"
)
def read(day_id: Number, photo_id: PhotoId, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """The program's proposals come as a reading under its own name."""
    with archive.database.writing() as session:
        photo, _ = photo_and_day(archive, session, day_id, photo_id)
        job_id = queue_reading(archive, session, photo, person)
    runner.wake()
    return Queued(job_id=job_id)


@router.post(
    "/days/{day_id}/photos/{photo_id}/burst", name="api_read_burst", status_code=202, summary="Have a burst read"
)
def read_burst(day_id: Number, photo_id: PhotoId, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """The burst that the photo is one frame of; proposals come on the frame that was taken first."""
    with archive.database.writing() as session:
        photo, day = photo_and_day(archive, session, day_id, photo_id)
        photos = photos_of(session, day, day_id)
        frames = frames_of(photos, photo)
        job_id = queue_burst(archive, session, frames, find_still(photos, frames[0]), person)
    runner.wake()
    return Queued(job_id=job_id)


@router.get("/days/{day_id}/tuft-agreement", name="api_tuft_agreement", summary="Where tufts do other than predicted")
def agreement(
    day_id: Number, archive: TheArchive, part: Name, setup: Name, against: Name = ""
) -> AgreementView:
    """Station by station, both directions on the part; against: another setup in place of the prediction."""
    of = MapOf(part, setup, against)
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        found = map_points(day_photos(session, day, day_id), of)
    told = [StationAgreement(
        station=one.station, x_m=one.x_m, y_m=one.y_m, first_rad=one.first_rad, second_rad=one.second_rad,
        turn_rad=one.turn_rad, half95_rad=one.half95_rad, first_condition=one.first_condition,
        second_condition=one.second_condition,
    ) for one in found]  # fmt: skip
    first = SEEN if against else PREDICTED
    return AgreementView(part=part, setup=setup, against=against, first=first, stations=told)  # type: ignore[arg-type]
