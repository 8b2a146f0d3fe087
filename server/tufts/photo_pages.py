"""The page of a photo: the tufts on it marked, and everybody's reading; what it shows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.archive import Archive
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.job_view import OPEN, JobView, job_view
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.people import NOBODY
from server.templating import Page, render
from server.testday.tufts import CONDITIONS
from server.tufts.adding_job import LONGEST, LONGEST_NOTES
from server.tufts.addresses_pages import PhotoId, photo_title, tufts_crumb
from server.tufts.bursts import frames_of
from server.tufts.changing import change_photo, set_view
from server.tufts.day_tufts_pages import run_of
from server.tufts.decoding import SIZES
from server.tufts.glyphs import CONDITION_WORDS, PhotoFigure, counted, figure, glyphs_of
from server.tufts.marking import MarkEntry, keep_marks
from server.tufts.photo_view import (
    PhotoNow,
    Reading,
    board_state,
    photo_now,
    predicted_glyphs,
    reader_pairs,
    reading_views,
)
from server.tufts.points_view import PointsView, points_view, typed_pairs
from server.tufts.reading_job import reading_of, reading_said
from server.tufts.service import NamedMark, Photo, find_photo, photos_of
from server.tufts.typed_marks import PLAIN_WIDTH, typed_direction, typed_mark

router = APIRouter(default_response_class=HTMLResponse)
Text = Annotated[str, Form(max_length=LONGEST)]
Texts = Annotated[list[str], Form(max_length=40)]
KEYS = {"attached": "A", "unsteady": "U", "separated": "S", "reversed": "R"}


@dataclass(frozen=True, kw_only=True)
class PhotoPage(Page):
    """A photo with its marks. state: what the script needs; plain: the picture that is marked without scripts."""

    template: ClassVar[str] = "tufts/photo.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    photo: Photo
    sentence: str
    agreement: str
    next_step: str
    reader: str
    nameless: bool
    state: str
    drawn: PhotoFigure
    mine: tuple[NamedMark, ...]
    drawn_degrees: dict[str, float]
    flow: str
    readings: tuple[Reading, ...]
    pairs: tuple[tuple[str, str, str], ...]
    points: PointsView
    frames: int
    conditions: tuple[tuple[str, str], ...]
    keys: dict[str, str]
    runs: tuple[tuple[int, str], ...]
    setups: tuple[str, ...]
    parts: tuple[str, ...]
    views: tuple[str, ...]
    bursts: tuple[str, ...]
    plain_width: int
    proposed: int
    reading: JobView | None
    reading_said: tuple[str, ...]
    before: int | None
    after: int | None
    problem: str


@router.get("/days/{day_id}/tufts/{photo_id}", name="photo")
def photo_page(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson
) -> HTMLResponse:
    """The photo as it stands."""
    return render(request, _page(request, archive, (day_id, photo_id), person))


def _page(request: Request, archive: Archive, of: tuple[int, int], person: str, problem: str = "") -> PhotoPage:
    day_id, photo_id = of
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        photo = find_photo(session, day, day_id, photo_id)
        photos = photos_of(session, day, day_id)
        now, points = photo_now(session, photo), points_view(session, photo)
        job = reading_of(session, photo)
    mine, readings_now = now.of(person), reading_views(now)
    beside = [one.id for one in photos]
    place = beside.index(photo.id) if photo.id in beside else 0
    return PhotoPage(
        title=photo_title(photo),
        crumbs=(season_crumb(request), day_crumb(request, day_id, day.name), tufts_crumb(request, day_id)),
        day_id=day_id,
        photo=photo,
        sentence=photo_sentence(now),
        agreement=next((one.agreement for one in readings_now if one.agreement), ""),
        next_step=_next_step(now, person),
        reader=person,
        nameless=person == NOBODY,
        state=board_state(now, person, _places(request, photo)),
        drawn=figure(photo, [*predicted_glyphs(now.stations), *glyphs_of(mine)], photo_title(photo), person),
        mine=mine,
        drawn_degrees=_degrees(mine),
        flow="" if photo.flow_rad is None else f"{math.degrees(photo.flow_rad):.1f}".removesuffix(".0"),
        readings=readings_now,
        pairs=reader_pairs(now),
        points=points,
        frames=len(frames_of(photos, photo)),
        conditions=tuple((name, CONDITION_WORDS[name]) for name in CONDITIONS),
        keys=KEYS,
        runs=tuple((run.number, run.setup) for run in day.runs),
        setups=tuple(setup.name for setup in day.setups),
        parts=_said(photos, "part"),
        views=_said(photos, "view"),
        bursts=_said(photos, "burst"),
        plain_width=min(PLAIN_WIDTH, photo.width_px),
        proposed=len(now.proposals),
        reading=job_view(job) if job and job.state in OPEN else None,
        reading_said=reading_said(job),
        before=beside[place - 1] if place > 0 else None,
        after=beside[place + 1] if place + 1 < len(beside) else None,
        problem=problem,
    )


def _degrees(marks: tuple[NamedMark, ...]) -> dict[str, float]:
    turned = {one.key: one.mark.direction_rad for one in marks}
    return {key: math.degrees(angle) for key, angle in turned.items() if angle is not None}


def photo_sentence(now: PhotoNow) -> str:
    """What was seen on the photo, by whom."""
    photo = now.photo
    readers = [reader for reader, marks in now.layers.items() if marks and reader in _people(now)]
    where = photo_title(photo) + (f", setup {photo.setup}" if photo.setup else "")
    if not readers:
        return f"{where}: no tuft is marked yet."
    marks = [one.mark for one in now.of(readers[0])]
    others = f"; also read by {', '.join(readers[1:])}" if readers[1:] else ""
    count = f"{len(marks)} tuft{'' if len(marks) == 1 else 's'}"
    return f"{where}: {readers[0]} marked {count}, {counted(marks)}{others}."


def _people(now: PhotoNow) -> list[str]:
    return [one.reader for one in reading_views(now)]


def _next_step(now: PhotoNow, person: str) -> str:
    if now.photo.removed:
        return "This photo was taken out; it stays kept and can be put back below."
    if not now.of(person):
        return "Choose what the tufts do, then draw each one from its root to its loose end."
    open_ones = [one for one in now.of(person) if not one.mark.condition]
    if open_ones:
        return f"{len(open_ones)} of your marks are not judged yet: choose each and say what it does."
    return ""


def _places(request: Request, photo: Photo) -> dict[str, str]:
    there = request.app.url_path_for
    of = {"day_id": str(photo.day_id), "photo_id": str(photo.id)}
    tail = f"?of={photo.sha256[:12]}"  # kept for good by browsers: another archive's picture has another address
    sides = {size: side for size, side in SIZES.items() if size != "list"}
    return {str(side): f"{there('photo_picture', **of, size=size)}{tail}" for size, side in sides.items()}


def _said(photos: list[Photo], name: str) -> tuple[str, ...]:
    return tuple(sorted({getattr(one, name) for one in photos} - {""}))


@router.post("/days/{day_id}/tufts/{photo_id}", name="photo_facts")
def say_of_photo(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson, *,
    run: Text = "", setup: Text = "", part: Text = "", view: Text = "", burst: Text = "", standing: Text = "",
    removed: Text = "", flow: Text = "", notes: Annotated[str, Form(max_length=LONGEST_NOTES)] = "",
) -> Response:  # fmt: skip
    """What a photo shows: its run, part, camera view, notes; or that it is looked at no more."""
    words = {"setup": setup, "part": part, "view": view, "burst": burst}
    said = {name: " ".join(text.split()) for name, text in words.items()}
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photo = find_photo(session, day, day_id, photo_id)
            asked = run_of(run)
            change_photo(
                session, day, photo, who=person, run=asked, settled=photo.settled or {asked, photo.run} != {None},
                flow_rad=typed_direction(flow), standing=bool(standing), removed=bool(removed),
                notes=notes.replace("\r\n", "\n").strip(), **said,
            )  # fmt: skip
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, (day_id, photo_id), person, str(refusal)), 422)
    return _back(request, day_id, photo_id)


@router.post("/days/{day_id}/tufts/{photo_id}/points", name="photo_points")
def place_part(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson, *,
    name: Texts, x_mm: Texts, y_mm: Texts, x_px: Texts, y_px: Texts,
) -> Response:  # fmt: skip
    """How the part lies on this photo's view, by points found on the plan and on the photo."""
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photo = find_photo(session, day, day_id, photo_id)
            pairs = typed_pairs(session, photo, list(zip(name, x_mm, y_mm, x_px, y_px, strict=False)))
            set_view(session, photo, pairs, who=person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, (day_id, photo_id), person, str(refusal)), 422)
    return _back(request, day_id, photo_id, "#points")


@router.post("/days/{day_id}/tufts/{photo_id}/marks", name="photo_mark")
def mark_by_form(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson, *,
    at_x: Annotated[float | None, Form(alias="at.x", ge=0, le=10**5)] = None,
    at_y: Annotated[float | None, Form(alias="at.y", ge=0, le=10**5)] = None,
    mark: Text = "", condition: Text = "", direction: Text = "", say: Text = "",
) -> Response:  # fmt: skip
    """A mark set where the picture was tapped, or one changed or taken back, without scripts."""
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photo = find_photo(session, day, day_id, photo_id)
            entry = typed_mark(photo, photo_now(session, photo).of(person), mark, at=(at_x, at_y), say=say)
            turned = typed_direction(direction)
            changed = MarkEntry(**{**entry, "condition": condition, "direction_rad": turned})
            keep_marks(session, photo, person, [changed], who=person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, (day_id, photo_id), person, str(refusal)), 422)
    return _back(request, day_id, photo_id, "#board")


def _back(request: Request, day_id: int, photo_id: int, tail: str = "") -> Response:
    there = request.app.url_path_for("photo", day_id=str(day_id), photo_id=str(photo_id))
    return RedirectResponse(f"{there}{tail}", SEE_OTHER)

