"""Pages that take days in: /add and the progress of a day that is being read."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from server.archive.jobs import find_job
from server.days.incoming import UploadedLog, queue_typed_day, queue_uploaded_logs, queue_uploaded_zip, queue_zip
from server.days.job_view import JobView, job_view
from server.days.typed_day import (
    AIR_FIELDS,
    CAR_FIELDS,
    COASTING_WORDS,
    DAY_FIELDS,
    DIRECTION_WORDS,
    NumberField,
    SentLog,
)
from server.dependencies import CurrentPerson, CurrentSettings, Jobs, TheArchive
from server.errors import UploadError
from server.locations import sample_day_folders
from server.results.fit_job import queue_folder
from server.templating import Crumb, Page, is_htmx, render, render_part

router = APIRouter(default_response_class=HTMLResponse)

LOG_ROWS = 4
MOST_LOGS = 200
DAYS_CRUMB = ("Season", "days")
SEE_OTHER = 303


@dataclass(frozen=True, kw_only=True)
class AddPage(Page):
    """The forms that take a day in; `fields` holds what was typed before a refusal."""

    template: ClassVar[str] = "days/add.html"
    help: ClassVar[str] = "add"
    problem: str
    fields: dict[str, str]
    car_fields: tuple[NumberField, ...] = CAR_FIELDS
    air_fields: tuple[NumberField, ...] = AIR_FIELDS
    day_fields: tuple[NumberField, ...] = DAY_FIELDS
    coasting_words: tuple[str, ...] = COASTING_WORDS
    direction_words: tuple[str, ...] = DIRECTION_WORDS
    log_rows: int = LOG_ROWS
    limit_mb: float
    has_samples: bool


@dataclass(frozen=True, kw_only=True)
class JobPage(Page):
    """A day that is being read, or why it could not be."""

    template: ClassVar[str] = "days/job.html"
    help: ClassVar[str] = "add"
    job: JobView


@dataclass(frozen=True, slots=True)
class TypedForm:
    """The logs form as it came: logs that came with it, or rows that name uploads."""

    fields: dict[str, str]
    logs: list[SentLog]
    uploads: list[UploadedLog]

    def queue(self, archive: TheArchive, who: str) -> str:
        """Queue what came; gives the job. Raises UploadError."""
        if self.uploads:
            return queue_uploaded_logs(archive, self.fields, self.uploads, who)
        return queue_typed_day(archive, self.fields, self.logs, who)


@router.get("/add", name="add")
def add(request: Request, settings: CurrentSettings) -> HTMLResponse:
    """The forms."""
    return render(request, _add_page(request, settings.upload_limit_mb))


@router.post("/add/folder", name="add_folder")
def add_folder(
    request: Request,
    *,
    archive: TheArchive,
    jobs: Jobs,
    settings: CurrentSettings,
    person: CurrentPerson,
    day_zip: UploadFile | None = None,
    upload_id: Annotated[str, Form()] = "",
) -> Response:
    """Take a zipped test-day folder: with the form, or as an upload that has come in."""
    try:
        if upload_id:
            job_id = queue_uploaded_zip(archive, upload_id, person)
        elif day_zip is None:
            raise UploadError("No file was sent; choose a zipped test-day folder.")
        else:
            job_id = queue_zip(archive, day_zip.filename or "", day_zip.file, person)
    except UploadError as refusal:
        return _refused(request, settings.upload_limit_mb, str(refusal), {})
    return _accepted(request, archive, jobs, job_id)


async def _typed_form(request: Request) -> AsyncIterator[TypedForm]:
    """The logs form; what came with it is closed when the answer is made."""
    async with request.form(max_files=MOST_LOGS, max_fields=4 * MOST_LOGS) as form:
        yield _typed(form)


def _typed(form: FormData) -> TypedForm:
    """The rows of the logs form: file, setup and direction stand at the same place of their lists."""
    fields = {name: value for name, value in form.items() if isinstance(value, str)}
    setups, directions = _texts(form, "log_setup"), _texts(form, "log_direction")
    logs = [
        SentLog(sent.filename, sent.file, setup, direction)
        for sent, setup, direction in zip_longest(form.getlist("log"), setups, directions, fillvalue="")
        if not isinstance(sent, str) and sent.filename
    ]
    uploads = [
        UploadedLog(upload_id, setup, direction)
        for upload_id, setup, direction in zip_longest(_texts(form, "log_upload"), setups, directions, fillvalue="")
        if upload_id
    ]
    return TypedForm(fields, logs, uploads)


def _texts(form: FormData, name: str) -> list[str]:
    return [str(value) for value in form.getlist(name)]


@router.post("/add/logs", name="add_logs")
async def add_logs(
    request: Request,
    *,
    archive: TheArchive,
    jobs: Jobs,
    settings: CurrentSettings,
    person: CurrentPerson,
    form: Annotated[TypedForm, Depends(_typed_form)],
) -> Response:
    """Take logs with mass and air typed in."""
    try:
        job_id = await run_in_threadpool(form.queue, archive, person)
    except UploadError as refusal:
        return _refused(request, settings.upload_limit_mb, str(refusal), form.fields)
    return await run_in_threadpool(_accepted, request, archive, jobs, job_id)


@router.post("/add/sample", name="add_sample")
def add_sample(request: Request, archive: TheArchive, jobs: Jobs) -> Response:
    """Fit the last of the made-up days that come with the program."""
    folders = sample_day_folders()
    job_id = queue_folder(archive, folders[-1]) if folders else None
    if job_id is None:
        return RedirectResponse(request.app.url_path_for("days"), SEE_OTHER)
    return _accepted(request, archive, jobs, job_id)


@router.get("/jobs/{job_id}", name="job")
def job(request: Request, job_id: str, archive: TheArchive) -> Response:
    """How far a day has come; its result once it is there."""
    with archive.database.reading() as session:
        view = job_view(find_job(session, job_id))
    if view.outcome is not None:
        return RedirectResponse(request.app.url_path_for(view.outcome.route, **view.outcome.parts), SEE_OTHER)
    crumbs = (_days_crumb(request),)
    title = f"Reading {view.label}" if view.reading else view.label
    return render(request, JobPage(title=title, crumbs=crumbs, job=view))


@router.get("/jobs/{job_id}/status", name="job_status")
def job_status(request: Request, job_id: str, archive: TheArchive) -> HTMLResponse:
    """The piece of a page that shows a job, asked for again and again; on the end it leads to the day."""
    with archive.database.reading() as session:
        view = job_view(find_job(session, job_id))
    answer = render_part(request, "days/job_status.html", job=view)
    if view.outcome is not None:
        answer.headers["HX-Redirect"] = str(request.app.url_path_for(view.outcome.route, **view.outcome.parts))
    return answer


def _accepted(request: Request, archive: TheArchive, jobs: Jobs, job_id: str) -> Response:
    jobs.wake()
    if not is_htmx(request):
        return RedirectResponse(request.app.url_path_for("job", job_id=job_id), SEE_OTHER)
    with archive.database.reading() as session:
        return render_part(request, "days/job_status.html", job=job_view(find_job(session, job_id)))


def _refused(request: Request, limit_mb: float, problem: str, fields: dict[str, str]) -> HTMLResponse:
    if is_htmx(request):
        return render_part(request, "partials/problem.html", status=422, problem=problem)
    return render(request, _add_page(request, limit_mb, problem, fields), 422)


def _add_page(request: Request, limit_mb: float, problem: str = "", fields: dict[str, str] | None = None) -> AddPage:
    return AddPage(
        title="Add a day",
        crumbs=(_days_crumb(request),),
        problem=problem,
        fields=fields or {},
        limit_mb=limit_mb,
        has_samples=bool(sample_day_folders()),
    )


def _days_crumb(request: Request) -> Crumb:
    text, name = DAYS_CRUMB
    return Crumb(text, str(request.app.url_path_for(name)))
