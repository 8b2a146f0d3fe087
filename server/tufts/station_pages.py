"""Stations of the parts of a day: from a CSV, or from a marked picture of predicted surface flow."""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from server.archive.archive import Archive
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.templating import Page, render
from server.testday.tuft_stations import MOST_STATIONS, read_stations
from server.testday.tufts import TuftStation
from server.testday.values import Finding
from server.tufts.adding_job import LONGEST
from server.tufts.addresses_pages import PhotoId, tufts_crumb
from server.tufts.changing import set_stations
from server.tufts.earlier import EarlierStations, earlier_stations, take_over
from server.tufts.plans import PlanFigure, plan_figure, stations_from_picture
from server.tufts.service import find_photo, layers_of, photos_of, stations_of
from server.tufts.tables import TuftStations

router = APIRouter(default_response_class=HTMLResponse)
CSV_BYTES = 1_000_000
EXAMPLE = "part,station,x_mm,y_mm,direction_deg,condition"


@dataclass(frozen=True, slots=True)
class PartStations:
    """The stations of a part as a page shows them."""

    part: str
    setup: str
    source: str
    who: str
    stations: tuple[TuftStation, ...]
    plan: PlanFigure


@dataclass(frozen=True, kw_only=True)
class StationsPage(Page):
    """The stations of a day. pictures: predictions that were marked: (photo, its name, readers)."""

    template: ClassVar[str] = "tufts/stations.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    sentence: str
    parts: tuple[PartStations, ...]
    earlier: tuple[EarlierStations, ...]
    pictures: tuple[tuple[int, str, tuple[str, ...]], ...]
    setups: tuple[str, ...]
    example: str
    typed: str
    problem: str


@dataclass(frozen=True, slots=True)
class SentCsv:
    """A CSV as it was sent, as a file or as text."""

    name: str
    text: str


async def _sent_csv(request: Request) -> AsyncIterator[SentCsv]:
    async with request.form(max_files=1, max_fields=10) as form:
        file, text = form.get("file"), str(form.get("text", ""))
        if isinstance(file, UploadFile) and file.filename:
            content = await file.read(CSV_BYTES + 1)
            yield SentCsv(Path(file.filename).name[:LONGEST], content[:CSV_BYTES].decode("utf-8", "replace"))
        else:
            yield SentCsv("typed stations", text[:CSV_BYTES])


@router.get("/days/{day_id}/tufts/stations", name="tuft_stations")
def stations(request: Request, day_id: DayId, archive: TheArchive) -> HTMLResponse:
    """The stations as they stand."""
    return render(request, _page(request, archive, day_id))


def _page(request: Request, archive: Archive, day_id: int, typed: str = "", problem: str = "") -> StationsPage:
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        rows = [row for row in stations_of(session, day_id).values() if row.stations]
        photos = photos_of(session, day, day_id)
        predicted = [one for one in photos if one.kind == "prediction"]
        earlier = earlier_stations(session, day_id, photos)
        layers = layers_of(session, [one.id for one in predicted])
        parts = tuple(_part(row) for row in rows)
    pictures = ((one.id, one.part or one.name, tuple(layers.get(one.id, {}))) for one in predicted)
    return StationsPage(
        title="Stations",
        crumbs=(season_crumb(request), day_crumb(request, day_id, day.name), tufts_crumb(request, day_id)),
        day_id=day_id,
        sentence=_sentence(parts),
        parts=parts,
        earlier=earlier,
        pictures=tuple(pictures),
        setups=tuple(setup.name for setup in day.setups),
        example=EXAMPLE,
        typed=typed,
        problem=problem,
    )


def _part(row: TuftStations) -> PartStations:
    values = tuple(TuftStation(part=row.part, setup=row.setup, **one) for one in row.stations)
    return PartStations(row.part, row.setup, row.source, row.who, values, plan_figure(values))


def _sentence(parts: tuple[PartStations, ...]) -> str:
    if not parts:
        return "No stations yet: without them a photo is read, but held against no prediction."
    told = sum(one.direction_rad is not None for part in parts for one in part.stations)
    count = sum(len(part.stations) for part in parts)
    names = len({part.part for part in parts})
    return f"{count} stations on {names} part{'' if names == 1 else 's'}, {told} with a predicted direction."


@router.post("/days/{day_id}/tufts/stations", name="tuft_stations_csv")
async def take_csv(
    request: Request, day_id: DayId, archive: TheArchive, person: CurrentPerson,
    sent: Annotated[SentCsv, Depends(_sent_csv)],
) -> Response:  # fmt: skip
    """Stations from a CSV; those of each part that it names take the place of the ones before."""

    def answer() -> Response:
        try:
            values = _values(archive, sent)
            with archive.database.writing() as session:
                _, day = newest_day(archive, session, day_id)
                for setup in dict.fromkeys(one.setup for one in values):
                    mine = [one for one in values if one.setup == setup]
                    set_stations(session, day, day_id, mine, setup=setup, source=sent.name, who=person)
        except NotFoundError:
            raise
        except StillairError as refusal:
            return render(request, _page(request, archive, day_id, sent.text, str(refusal)), 422)
        return _there(request, day_id)

    return await run_in_threadpool(answer)


def _values(archive: Archive, sent: SentCsv) -> tuple[TuftStation, ...]:
    findings: list[Finding] = []
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        file = Path(scratch) / "stations.csv"
        file.write_text(sent.text, "utf-8")
        return read_stations(file, sent.name, findings)


@router.post("/days/{day_id}/tufts/stations/earlier", name="tuft_stations_earlier")
def take_earlier(
    request: Request, day_id: DayId, archive: TheArchive, person: CurrentPerson, *,
    part: Annotated[str, Form(max_length=LONGEST)] = "", other: Annotated[int, Form(ge=1, le=2**31)] = 1,
) -> Response:  # fmt: skip
    """Stations of a part from an earlier day, with how it lay on views that both days have."""
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            take_over(session, day, day_id, part, other, who=person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, day_id, "", str(refusal)), 422)
    return _there(request, day_id)


@router.post("/days/{day_id}/tufts/{photo_id}/stations", name="tuft_stations_picture")
def take_picture(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson, *,
    reader: Annotated[str, Form(max_length=LONGEST)] = "", width: Annotated[str, Form(max_length=20)] = "",
    setup: Annotated[str, Form(max_length=LONGEST)] = "",
) -> Response:  # fmt: skip
    """Stations where a picture of predicted surface flow was marked; width: of the whole picture on the part [mm]."""
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photo = find_photo(session, day, day_id, photo_id)
            marks = layers_of(session, [photo.id]).get(photo.id, {}).get(reader, [])
            values = stations_from_picture(photo, [one.mark for one in marks], width, setup)
            set_stations(
                session, day, day_id, values[:MOST_STATIONS], setup=setup, source=photo.name,
                plan_photo_id=photo.id, who=person,
            )  # fmt: skip
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, day_id, "", str(refusal)), 422)
    return _there(request, day_id)


def _there(request: Request, day_id: int) -> Response:
    return RedirectResponse(str(request.app.url_path_for("tuft_stations", day_id=str(day_id))), SEE_OTHER)
