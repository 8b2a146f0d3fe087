"""Runs added on a day's page: logs that came in, read by a job and asked about; times typed by hand."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from server.archive.jobs import find_job
from server.archive.tables import Job
from server.days.adding_job import ANSWER
from server.days.adding_runs import (
    ADD_RUNS,
    FACTS,
    MOST_FILES,
    Sent,
    newest_with_files,
    problems_of,
    queue_runs,
    sent_of,
)
from server.days.adding_typed import add_typed
from server.days.adding_view import AddView, RowView, add_view, row_view, row_views, with_new, with_typed
from server.days.day_addresses_pages import SEE_OTHER, DayId, day_crumb, season_crumb
from server.days.day_pages import day_page
from server.days.form_fields import Typed
from server.days.job_view import JobView, job_view
from server.dependencies import CurrentPerson, CurrentSettings, Jobs, TheArchive
from server.errors import NotFoundError, StillairError
from server.templating import Page, is_htmx, render, render_part

router = APIRouter(default_response_class=HTMLResponse)
PIECE_BYTES = 1 << 20
FIELDS_A_FILE = 20
FOLLOW = "stillair:follow"  # brings the page to what the server shows now and leaves alone what is being filled
NOT_TAKEN = "Nothing was added; one thing needs another look."


@dataclass(frozen=True, kw_only=True)
class AddingPage(Page):
    """Logs on their way into a day, or what stands between: their rows again, with what is wrong or open."""

    template: ClassVar[str] = "days/adding.html"
    help: ClassVar[str] = "testday"
    day_id: int
    job: JobView | None
    rows: tuple[RowView, ...]
    add: AddView
    problem: str


@dataclass(frozen=True, slots=True)
class SentForm:
    """A form with its files: the fields, and the files that came with it instead of ahead of it, by their row."""

    typed: Typed
    files: tuple[tuple[int, UploadFile], ...]


async def _sent_form(request: Request) -> AsyncIterator[SentForm]:
    """Closed when the answer is made."""
    async with request.form(max_files=MOST_FILES, max_fields=FIELDS_A_FILE * MOST_FILES) as form:
        yield SentForm(_texts(form), tuple(_files(form)))


def _texts(form: FormData) -> Typed:
    return {name: tuple(value for value in form.getlist(name) if isinstance(value, str)) for name in form}


def _files(form: FormData) -> list[tuple[int, UploadFile]]:
    sent = enumerate(form.getlist("log"))
    return [(place, file) for place, file in sent if isinstance(file, UploadFile) and file.filename]


@router.post("/days/{day_id}/runs", name="add_runs")
async def add_runs(
    request: Request, day_id: DayId, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    form: Annotated[SentForm, Depends(_sent_form)],
) -> Response:  # fmt: skip
    """Take logs for a day: looked at here, read in a job."""
    return await run_in_threadpool(_add_runs, request, day_id, archive=archive, jobs=jobs, person=person, form=form)


def _add_runs(
    request: Request, day_id: int, *, archive: TheArchive, jobs: Jobs, person: str, form: SentForm
) -> Response:
    typed = _with_files(request, form, person) if form.files else form.typed
    with archive.database.reading() as session:
        _, values, files = newest_with_files(archive, session, day_id)
    sent, problems = None, {}
    try:
        sent = sent_of(archive, typed)
        problems = problems_of(values, files, sent)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return _refused(request, day_id, archive, sent, problems={}, problem=str(refusal))
    if problems:
        return _refused(request, day_id, archive, sent, problems=problems, problem="")
    job_id = queue_runs(archive, day_id, sent, person)
    jobs.wake()
    if is_htmx(request):
        return adding_status(request, day_id, job_id, archive)
    there = request.app.url_path_for("adding", day_id=str(day_id), job_id=job_id)
    return RedirectResponse(str(there), SEE_OTHER)


def _with_files(request: Request, form: SentForm, person: str) -> Typed:
    """The fields with files that came with the form made uploads, as if they had gone ahead; empty rows fall out."""
    uploads, ids = request.app.state.uploads, []
    for _, file in form.files:
        upload = uploads.begin(file.filename or "log", file.size or 0, who=person)
        at = 0
        while piece := file.file.read(PIECE_BYTES):
            at = uploads.append(upload.id, at, piece)
        ids.append(uploads.settle(upload.id).id)
    kept = {f"log_{name}": form.typed.get(f"log_{name}", ()) for name in FACTS}
    chosen = {
        name: tuple(values[place] if place < len(values) else "" for place, _ in form.files)
        for name, values in kept.items()
    }
    return {**form.typed, **chosen, "log_upload": tuple(ids)}


def _refused(
    request: Request, day_id: int, archive: TheArchive, sent: Sent | None, *, problems: dict[int, str], problem: str
) -> Response:
    """What is wrong, beside the form: it still stands on the page, or is shown again with what was typed."""
    if is_htmx(request):
        lines = [problem, *problems.values()] if problem else list(problems.values())
        return render_part(request, "days/problems.html", 422, problems=lines)
    rows = sent.rows if sent else ()
    views = tuple(row_view(row, problems.get(place, "")) for place, row in enumerate(rows))
    page = _adding_page(request, day_id, archive, rows=views, problem=problem, new=sent.new_setup if sent else {})
    return render(request, page, 422)


def _adding_page(
    request: Request, day_id: int, archive: TheArchive, *, rows: tuple[RowView, ...], problem: str,
    new: dict[str, str], job: JobView | None = None,
) -> AddingPage:  # fmt: skip
    with archive.database.reading() as session:
        _, values, _ = newest_with_files(archive, session, day_id)
    return AddingPage(
        title="Adding logs",
        crumbs=(season_crumb(request), day_crumb(request, day_id, values.name)),
        day_id=day_id,
        job=job,
        rows=rows,
        add=with_new(add_view(values), new),
        problem=problem,
    )


@router.get("/days/{day_id}/adding/{job_id}", name="adding")
def adding(request: Request, day_id: DayId, job_id: str, archive: TheArchive) -> Response:
    """How far the reading is; then the day, or the rows again with what stands between."""
    page = _of_job(request, day_id, job_id, archive)
    return render(request, page) if page else RedirectResponse(_day_path(request, day_id), SEE_OTHER)


@router.get("/days/{day_id}/adding/{job_id}/status", name="adding_status")
def adding_status(request: Request, day_id: DayId, job_id: str, archive: TheArchive) -> Response:
    """The piece of a page that shows it, asked for again and again; on the end it leads to the day.

    The day's own page is not left for that: somebody may have begun to type in one of its forms.
    """
    page = _of_job(request, day_id, job_id, archive)
    if page is None and urlsplit(request.headers.get("HX-Current-URL", "")).path == _day_path(request, day_id):
        piece = render_part(request, "days/added.html")
        piece.headers["HX-Trigger"] = FOLLOW
        return piece
    if page is None:
        return Response(headers={"HX-Redirect": _day_path(request, day_id)})
    names = ("day_id", "job", "rows", "add", "problem")
    return render_part(request, "days/adding_status.html", **{name: getattr(page, name) for name in names})


def _of_job(request: Request, day_id: int, job_id: str, archive: TheArchive) -> AddingPage | None:
    """The page of a job; None when its runs have been added. Raises NotFoundError."""
    with archive.database.reading() as session:
        job = find_job(session, job_id)
        if job.kind != ADD_RUNS or job.day_id != day_id:
            raise NotFoundError("No work goes by that address.")
        if job.state == "done" and ANSWER not in job.payload:
            return None
        view, payload, ended = job_view(job), job.payload, job.state not in ("queued", "running")
        problem = _problem(job)
    rows = row_views(payload) if ended else ()
    new = payload["sent"]["new_setup"]
    return _adding_page(request, day_id, archive, rows=rows, problem=problem, new=new, job=None if ended else view)


def _problem(job: Job) -> str:
    if job.state == "failed":
        return job.error or NOT_TAKEN
    return "The reading was called off; nothing was added." if job.state == "cancelled" else ""


def _day_path(request: Request, day_id: int) -> str:
    return str(request.app.url_path_for("day", day_id=str(day_id)))


@router.post("/days/{day_id}/typed", name="add_typed")
async def typed_times(
    request: Request, day_id: DayId, *, archive: TheArchive, settings: CurrentSettings, jobs: Jobs,
    person: CurrentPerson, form: Annotated[SentForm, Depends(_sent_form)],
) -> Response:  # fmt: skip
    """Take coast-downs timed by hand; or the page again with one sentence beside the table."""
    typed = form.typed

    def answer() -> Response:
        try:
            add_typed(archive, day_id, typed, person)
        except NotFoundError:
            raise
        except StillairError as refusal:
            return _typed_again(request, day_id, archive, settings, typed=typed, refusal=refusal)
        jobs.wake()
        return RedirectResponse(_day_path(request, day_id), SEE_OTHER)

    return await run_in_threadpool(answer)


def _typed_again(
    request: Request, day_id: int, archive: TheArchive, settings: CurrentSettings, *, typed: Typed,
    refusal: StillairError,
) -> Response:  # fmt: skip
    with archive.database.reading() as session:
        _, values, _ = newest_with_files(archive, session, day_id)
    add = with_typed(add_view(values), typed, refusal)
    return render(request, day_page(request, day_id, archive, settings, add=add), 422)


