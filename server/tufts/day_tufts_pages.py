"""The tufts of a day: photos come in, stand side by side by part and setup; camera clocks."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from server.archive.archive import Archive
from server.archive.jobs import find_job
from server.archive.tables import Job
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.form_fields import decimal_of
from server.days.job_view import JobView, job_view
from server.days.revisions import newest_day
from server.dependencies import CurrentPerson, CurrentSettings, Jobs, TheArchive
from server.errors import NotFoundError, StillairError
from server.templating import Page, is_htmx, render, render_part
from server.tufts.adding_job import ADD_PHOTOS, ANSWER, LONGEST, MOST_FILES, queue_photos, sent_photos
from server.tufts.addresses_pages import tufts_crumb
from server.tufts.bursts import one_a_burst
from server.tufts.changing import set_camera_clock
from server.tufts.day_view import PartRow, best_reading, day_photos, day_sentence, part_rows, predictions, unsorted
from server.tufts.earlier import EarlierStations, earlier_stations
from server.tufts.folder_job import folder_problems
from server.tufts.glyphs import PhotoFigure
from server.tufts.service import camera_clocks
from server.uploads.whole import take_whole

router = APIRouter(default_response_class=HTMLResponse)
FIELDS = ("part", "view", "run", "setup", "notes", "kind", "burst")


@dataclass(frozen=True, kw_only=True)
class TuftsPage(Page):
    """The tufts of a day. cameras: (camera, how far its clock is ahead [s], photos)."""

    template: ClassVar[str] = "tufts/day.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    sentence: str
    rows: tuple[PartRow, ...]
    loose: tuple[PhotoFigure, ...]
    predictions: tuple[PhotoFigure, ...]
    earlier: tuple[EarlierStations, ...]
    cameras: tuple[tuple[str, float, int], ...]
    runs: tuple[tuple[int, str], ...]
    parts: tuple[str, ...]
    views: tuple[str, ...]
    typed: dict[str, str]
    problem: str
    folder_problems: tuple[str, ...]
    limit_mb: float


@dataclass(frozen=True, kw_only=True)
class AddingPhotosPage(Page):
    """Photos on their way into a day; then what was no picture. kept: how many were."""

    template: ClassVar[str] = "tufts/adding.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    job: JobView | None
    problems: tuple[str, ...]
    kept: int


@dataclass(frozen=True, slots=True)
class SentForm:
    """What a form brought: its fields, and files that came with it instead of ahead of it."""

    typed: dict[str, str]
    uploads: tuple[str, ...]
    files: tuple[UploadFile, ...]


async def _sent_form(request: Request) -> AsyncIterator[SentForm]:
    """Closed when the answer is made."""
    async with request.form(max_files=MOST_FILES, max_fields=20 + 2 * MOST_FILES) as form:
        yield _read(form)


def _read(form: FormData) -> SentForm:
    typed = {name: " ".join(str(form.get(name, "")).split())[:LONGEST] for name in FIELDS}
    uploads = tuple(str(one) for one in form.getlist("upload_id") if isinstance(one, str) and one)
    files = tuple(one for one in form.getlist("files") if isinstance(one, UploadFile) and one.filename)
    return SentForm(typed, uploads, files)


@router.get("/days/{day_id}/tufts", name="tufts")
def tufts(request: Request, day_id: DayId, archive: TheArchive, settings: CurrentSettings) -> HTMLResponse:
    """The photos as they stand."""
    return render(request, tufts_page(request, archive, day_id, settings.upload_limit_mb))


def tufts_page(
    request: Request, archive: Archive, day_id: int, limit_mb: float, *,
    typed: dict[str, str] | None = None, problem: str = "",
) -> TuftsPage:  # fmt: skip
    """The page; typed: what its form held, where it is refused."""
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        photos = day_photos(session, day, day_id)
        shown = one_a_burst(photos, {one.photo.id for one in photos if best_reading(one.layers)[0]})
        earlier = earlier_stations(session, day_id, [one.photo for one in photos])
        clocks, problems = camera_clocks(session, day_id), folder_problems(session, day_id)
    cameras = [one.photo.camera for one in photos if one.photo.taken]
    return TuftsPage(
        title="Tufts",
        crumbs=(season_crumb(request), day_crumb(request, day_id, day.name)),
        day_id=day_id,
        sentence=day_sentence(shown),
        rows=part_rows(day, shown),
        loose=unsorted(day, shown),
        predictions=predictions(photos),
        earlier=earlier,
        cameras=tuple((one, clocks.get(one, 0.0), cameras.count(one)) for one in sorted(set(cameras))),
        runs=tuple((run.number, run.setup) for run in day.runs),
        parts=tuple(sorted({one.photo.part for one in photos} - {""})),
        views=tuple(sorted({one.photo.view for one in photos} - {""})),
        typed={**dict.fromkeys(FIELDS, ""), "kind": "photo", **(typed or {})},
        problem=problem,
        folder_problems=problems,
        limit_mb=limit_mb,
    )


@router.post("/days/{day_id}/tufts", name="add_photos")
async def add_photos(
    request: Request, day_id: DayId, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    settings: CurrentSettings, form: Annotated[SentForm, Depends(_sent_form)],
) -> Response:  # fmt: skip
    """Take photos for a day; each is decoded in a job."""

    def answer() -> Response:
        try:
            job_id = _queued(request, archive, day_id, form, person)
        except NotFoundError:
            raise
        except StillairError as refusal:
            if is_htmx(request):
                return render_part(request, "partials/problem.html", 422, problem=str(refusal))
            limit_mb, problem = settings.upload_limit_mb, str(refusal)
            page = tufts_page(request, archive, day_id, limit_mb, typed=form.typed, problem=problem)
            return render(request, page, 422)
        jobs.wake()
        if is_htmx(request):
            return adding_status(request, day_id, job_id, archive)
        there = request.app.url_path_for("adding_photos", day_id=str(day_id), job_id=job_id)
        return RedirectResponse(str(there), SEE_OTHER)

    return await run_in_threadpool(answer)


def _queued(request: Request, archive: Archive, day_id: int, form: SentForm, person: str) -> str:
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
    uploads = request.app.state.uploads
    came = [take_whole(uploads, one.filename or "photo", one.size or 0, one.file, person) for one in form.files]
    plain = {"kind": form.typed["kind"] or "photo", "burst": form.typed["burst"] or "by-time"}
    facts = {**form.typed, **plain, "run": run_of(form.typed["run"])}
    with archive.database.writing() as session:
        sent = sent_photos(session, [*form.uploads, *came], day, **facts)
        return queue_photos(archive, session, day_id, sent, person)


def run_of(text: str) -> int | None:
    """A run's number as it was typed; None for none. Raises StillairError."""
    if not text.strip():
        return None
    if not text.strip().isdecimal():
        raise StillairError(f"“{text[:40]}” is no number of a run.")
    return int(text)


@router.get("/days/{day_id}/tufts/adding/{job_id}", name="adding_photos")
def adding(request: Request, day_id: DayId, job_id: str, archive: TheArchive) -> Response:
    """How far the decoding is; then the photos, or what could not be taken."""
    page = _of_job(request, day_id, job_id, archive)
    return render(request, page) if page else RedirectResponse(_tufts_path(request, day_id), SEE_OTHER)


@router.get("/days/{day_id}/tufts/adding/{job_id}/status", name="adding_photos_status")
def adding_status(request: Request, day_id: DayId, job_id: str, archive: TheArchive) -> Response:
    """The piece of a page that shows it, asked for again and again; on the end it leads to the photos."""
    page = _of_job(request, day_id, job_id, archive)
    if page is None:
        return Response(headers={"HX-Redirect": _tufts_path(request, day_id)})
    names = ("day_id", "job", "problems", "kept")
    return render_part(request, "tufts/adding_status.html", **{name: getattr(page, name) for name in names})


def _of_job(request: Request, day_id: int, job_id: str, archive: TheArchive) -> AddingPhotosPage | None:
    """The page of a job; None when all of its photos are kept. Raises NotFoundError."""
    with archive.database.reading() as session:
        job = find_job(session, job_id)
        if job.kind != ADD_PHOTOS or job.day_id != day_id:
            raise NotFoundError("No work goes by that address.")
        ended = job.state not in ("queued", "running")
        view, answer, problems = job_view(job), job.payload.get(ANSWER, {}), _problems(job)
    if ended and not problems:
        return None
    return AddingPhotosPage(
        title="Adding photos",
        crumbs=(season_crumb(request), tufts_crumb(request, day_id)),
        day_id=day_id,
        job=None if ended else view,
        problems=problems,
        kept=len(answer.get("photos", ())),
    )


def _problems(job: Job) -> tuple[str, ...]:
    if job.state == "failed":
        return (job.error or "The photos could not be looked at.",)
    if job.state == "cancelled":
        return ("The work was called off; no photo was added.",)
    return tuple(job.payload.get(ANSWER, {}).get("problems", ()))


@router.post("/days/{day_id}/tufts/clock", name="camera_clock")
def camera_clock(
    request: Request, day_id: DayId, archive: TheArchive, person: CurrentPerson, settings: CurrentSettings, *,
    camera: Annotated[str, Form(max_length=LONGEST)] = "", ahead: Annotated[str, Form(max_length=20)] = "",
) -> Response:  # fmt: skip
    """How far a camera's clock is ahead; photos whose run nobody said follow it."""
    try:
        value = decimal_of(ahead.strip(), "ahead", "How far the clock is ahead")
        with archive.database.writing() as session:
            _, day = newest_day(archive, session, day_id)
            set_camera_clock(session, day, day_id, camera, 60.0 * float(value or 0), who=person)
    except NotFoundError:
        raise
    except StillairError as refusal:
        page = tufts_page(request, archive, day_id, settings.upload_limit_mb, problem=str(refusal))
        return render(request, page, 422)
    return RedirectResponse(_tufts_path(request, day_id), SEE_OTHER)


def _tufts_path(request: Request, day_id: int) -> str:
    return str(request.app.url_path_for("tufts", day_id=str(day_id)))
