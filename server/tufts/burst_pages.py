"""The page of a burst: frames laid over each other, what each tuft does over them, accepted by a person."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.archive import Archive
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.job_view import OPEN, JobView, job_view
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.errors import NotFoundError, StillairError
from server.people import NOBODY
from server.templating import Page, is_htmx, render, render_part
from server.testday.tufts import CONDITIONS
from server.tufts.adding_job import ANSWER
from server.tufts.addresses_pages import PhotoId, photo_title, tufts_crumb
from server.tufts.burst_job import burst_reading_of, find_burst_reading, queue_burst
from server.tufts.burst_view import BurstRow, burst_figure, burst_rows, burst_sentence
from server.tufts.bursts import find_still, frames_of
from server.tufts.glyphs import CONDITION_WORDS, PhotoFigure
from server.tufts.marking import MarkEntry, keep_marks
from server.tufts.photo_view import PhotoNow, photo_now
from server.tufts.reading_job import reading_said
from server.tufts.service import NamedMark, Photo, find_photo, photos_of

router = APIRouter(default_response_class=HTMLResponse)
NONE_TICKED = "Tick the tufts that you stand behind first."


@dataclass(frozen=True, kw_only=True)
class BurstPage(Page):
    """A burst. photo: the frame that leads; still: of the same view without flow; drawn: None before it is read."""

    template: ClassVar[str] = "tufts/burst.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    photo: Photo
    frames: tuple[Photo, ...]
    still: Photo | None
    sentence: str
    rows: tuple[BurstRow, ...]
    drawn: PhotoFigure | None
    conditions: tuple[tuple[str, str], ...]
    reader: str
    nameless: bool
    reading: JobView | None
    reading_said: tuple[str, ...]
    problem: str


@dataclass(frozen=True, slots=True)
class BurstNow:
    """A burst as it stands. told: by mark, as its newest reading keeps it; frames: photos of it."""

    day_name: str
    now: PhotoNow
    frames: tuple[Photo, ...]
    still: Photo | None
    told: Mapping[str, Mapping[str, Any]]
    laid: int
    job: JobView | None
    said: tuple[str, ...]


def _burst(archive: Archive, day_id: int, photo_id: int) -> BurstNow:
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        photo = find_photo(session, day, day_id, photo_id)
        photos = photos_of(session, day, day_id)
        frames = frames_of(photos, photo)
        job = burst_reading_of(session, frames[0])
        answer = job.payload.get(ANSWER, {}) if job is not None else {}
        view = job_view(job) if job is not None and job.state in OPEN else None
        now, still = photo_now(session, frames[0]), find_still(photos, frames[0])
        said = reading_said(job)
    told, laid = answer.get("told", {}), answer.get("frames", len(frames))
    return BurstNow(day.name, now, frames, still, told, laid, view, said)


@router.get("/days/{day_id}/tufts/{photo_id}/burst", name="tuft_burst")
def burst_page(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson
) -> HTMLResponse:
    """The burst that a photo is one frame of."""
    return render(request, _page(request, archive, (day_id, photo_id), person))


def _page(request: Request, archive: Archive, of: tuple[int, int], person: str, problem: str = "") -> BurstPage:
    found = _burst(archive, *of)
    lead = found.now.photo
    rows = burst_rows(found.now, found.told, found.laid, person)
    title = f"Burst, {photo_title(lead)}"
    return BurstPage(
        title=title,
        crumbs=(season_crumb(request), day_crumb(request, of[0], found.day_name), tufts_crumb(request, of[0])),
        day_id=of[0],
        photo=lead,
        frames=found.frames,
        still=found.still,
        sentence=burst_sentence(rows, len(found.frames), found.still is not None),
        rows=rows,
        drawn=burst_figure(found.now, found.told, title) if rows else None,
        conditions=tuple((name, CONDITION_WORDS[name]) for name in CONDITIONS),
        reader=person,
        nameless=person == NOBODY,
        reading=found.job,
        reading_said=found.said,
        problem=problem,
    )


@router.post("/days/{day_id}/tufts/{photo_id}/burst", name="tuft_burst_read")
def read_burst(
    request: Request, day_id: DayId, photo_id: PhotoId, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson
) -> Response:
    """Have the program lay the frames over each other; what it finds are proposals."""
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photos = photos_of(session, day, day_id)
            frames = frames_of(photos, find_photo(session, day, day_id, photo_id))
            job_id = queue_burst(archive, session, frames, find_still(photos, frames[0]), person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, (day_id, photo_id), person, str(refusal)), 422)
    jobs.wake()
    if is_htmx(request):
        return burst_reading(request, day_id, photo_id, job_id, archive)
    return _back(request, day_id, photo_id)


@router.get("/days/{day_id}/tufts/{photo_id}/burst/{job_id}", name="tuft_burst_reading")
def burst_reading(request: Request, day_id: DayId, photo_id: PhotoId, job_id: str, archive: TheArchive) -> Response:
    """The piece of the page that waits for it; at its end the page is asked for again."""
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        photo = find_photo(session, day, day_id, photo_id)
        job = job_view(find_burst_reading(session, photo, job_id))
    if not job.open:
        return HTMLResponse("", headers={"HX-Refresh": "true"})
    return render_part(request, "tufts/burst_reading.html", day_id=day_id, photo=photo, reading=job)


@router.post("/days/{day_id}/tufts/{photo_id}/burst/accept", name="tuft_burst_accept")
def accept(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive, person: CurrentPerson, *,
    take: Annotated[list[str], Form(max_length=600, default_factory=list)],
    condition: Annotated[list[str], Form(max_length=600, default_factory=list)],
) -> Response:  # fmt: skip
    """Take the ticked tufts over into the sender's reading. condition: mark and condition, a space between."""
    chosen = dict(one.partition(" ")[::2] for one in condition)
    try:
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            photo = find_photo(session, day, day_id, photo_id)
            lead = frames_of(photos_of(session, day, day_id), photo)[0]
            known = {one.key: one for one in photo_now(session, lead).proposals}
            entries = [_accepted(known[key], chosen.get(key, "")) for key in take if key in known]
            if not entries:
                raise StillairError(NONE_TICKED)
            keep_marks(session, lead, person, entries, who=person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return render(request, _page(request, archive, (day_id, photo_id), person, str(refusal)), 422)
    return _back(request, day_id, photo_id)


def _accepted(one: NamedMark, condition: str) -> MarkEntry:
    mark = one.mark
    detail = {"spread_rad": mark.spread_rad, "length_px": mark.length_px, "direction_u_rad": mark.direction_u_rad}
    return MarkEntry(
        entry=secrets.token_hex(12),
        mark=one.key,
        x_px=mark.x_px,
        y_px=mark.y_px,
        direction_rad=mark.direction_rad,
        condition=condition,
        station=mark.station or "",
        by="machine",
        detail={name: value for name, value in detail.items() if value is not None},
    )


def _back(request: Request, day_id: int, photo_id: int) -> Response:
    there = request.app.url_path_for("tuft_burst", day_id=str(day_id), photo_id=str(photo_id))
    return RedirectResponse(str(there), SEE_OTHER)
