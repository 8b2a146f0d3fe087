"""The application: routers, error pages, start and end."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import ClassVar

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from server import appearance
from server.accounts import own_pages, people_pages
from server.accounts import pages as accounts_pages
from server.accounts.throttle import Throttle
from server.addressed_app import AddressedApp
from server.archive.archive import Archive
from server.archive.jobs import JobKind, JobRunner
from server.cars import pages as cars_pages
from server.correlation import api as correlation_api
from server.correlation import figure_pages as correlation_figure_pages
from server.correlation import pages as correlation_pages
from server.correlation import taps_pages, verdict_pages, worth_pages
from server.days import adding_api, change_api, folder_api, jobs_api, release_pages, season_pages, testday_pages
from server.days import api as days_api
from server.days import pages as days_pages
from server.days.adding_job import ADDING_KINDS
from server.days.holding import days_holding
from server.dependencies import allowed
from server.errors import (
    ASK_LATER,
    BODY_NO_JSON,
    ArchiveBusyError,
    ArchiveDamagedError,
    DiskFullError,
    ForbiddenError,
    NotFoundError,
    StillairError,
    StoreError,
    place_sentence,
)
from server.gate import SignInGate
from server.help import api as help_api
from server.help import pages as help_pages
from server.history import api as history_api
from server.history import pages as history_pages
from server.history import trail_pages, verify_pages
from server.history.backup_job import BACKUP_KINDS, BackupClock
from server.history.verify_job import VERIFY_KINDS
from server.hosts import is_loopback, own_names
from server.live import api as live_api
from server.live.entries_api import EntryGate
from server.locations import web_folder
from server.packing import api as packing_api
from server.packing import pages as packing_pages
from server.packing.bring_job import UNPACK_KINDS
from server.packing.bringing import sweep_unpacked
from server.plans import pages as plans_pages
from server.plans.plan_job import PLAN_KINDS
from server.predictions import api as predictions_api
from server.predictions import figure_pages as predictions_figure_pages
from server.predictions import import_pages as predictions_import_pages
from server.predictions import pages as predictions_pages
from server.predictions.day_sets import keep_day_sets, with_day_sets
from server.reports import pages as reports_pages
from server.reports import season_report_pages
from server.results import (
    again_api,
    again_pages,
    compare_days_pages,
    compare_pages,
    long_api,
    long_pages,
    sign_off_pages,
)
from server.results import api as results_api
from server.results import pages as results_pages
from server.results.again_job import AGAIN_KINDS
from server.results.again_season import AGAIN_SEASON_KINDS
from server.results.early_job import EARLY_KINDS
from server.results.fit_job import FIT_KINDS, queue_folder
from server.results.preview_job import PREVIEW_KINDS
from server.results.refit_job import SEASON_KINDS
from server.results.service import ResultShelf, renew_summaries
from server.results.study_job import STUDY_KINDS
from server.runs import api as runs_api
from server.runs import pages as runs_pages
from server.runs import traces_api
from server.runs.recordings import READ_KINDS
from server.search import pages as search_pages
from server.security import HEADERS, Guard
from server.settings import Settings
from server.templating import Addresses, Page, is_htmx, make_environment, render, render_part
from server.tufts import api as tufts_api
from server.tufts import pages as tufts_pages
from server.tufts import station_api
from server.tufts.folder_job import queue_missing_photos, with_folder_photos
from server.tufts.jobs import TUFT_KINDS
from server.uploads import api as uploads_api
from server.uploads import program_api
from server.uploads.service import Uploads

FORM_BYTES = 1_000_000  # what a form adds to its files
MISTAKE = "The program made a mistake here; the log says where. What was kept before is untouched."
FORM_UNREADABLE = (
    "The form cannot be read: it broke off on its way, or a field holds more than 1 MB; go back, what was typed is "
    "still there, and bring a large table as a file."
)
HTTP_SENTENCES = {400: BODY_NO_JSON, 404: "This address names nothing.", 405: "This address cannot be asked that way."}
STATUSES = {
    NotFoundError: 404, ForbiddenError: 403, DiskFullError: 507, ArchiveBusyError: 503, StoreError: 503,
    ArchiveDamagedError: 500,
}  # fmt: skip
JSON_PATHS = ("/api/", "/uploads")
AGAIN = {**AGAIN_KINDS, **AGAIN_SEASON_KINDS}
QUICK_KINDS = {**FIT_KINDS, **EARLY_KINDS, **PREVIEW_KINDS, **READ_KINDS, **ADDING_KINDS, **PLAN_KINDS, **TUFT_KINDS}
LONG_KINDS = {**STUDY_KINDS, **SEASON_KINDS, **VERIFY_KINDS, **BACKUP_KINDS, **UNPACK_KINDS}
JOB_KINDS = with_folder_photos(with_day_sets({**QUICK_KINDS, **LONG_KINDS, **AGAIN}))
ASSETS = ("scripts", "styles", "vendor", "pictures")


@dataclass(frozen=True, kw_only=True)
class ErrorPage(Page):
    """One sentence on what went wrong."""

    template: ClassVar[str] = "error.html"
    sentence: str


def create_app(settings: Settings, kinds: Mapping[str, JobKind] | None = None) -> AddressedApp:
    """The pages over a data folder. `kinds`: the jobs by name; when not given, the product's own."""
    archive = Archive(settings.data_folder, settings.database_url, settings)
    jobs = JobRunner(archive, kinds or JOB_KINDS)

    backups = BackupClock(archive, jobs, settings.backup_folder, settings.backup_every_h, settings.backups_kept)
    limit_bytes = round(settings.upload_limit_mb * 1e6)
    uploads = Uploads(archive, limit_bytes, days_holding)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        archive.open()
        uploads.sweep()
        sweep_unpacked(archive)
        renew_summaries(archive)
        keep_day_sets(archive)
        if set(TUFT_KINDS) <= set(kinds or JOB_KINDS):
            queue_missing_photos(archive)
        if settings.day_folder is not None:
            queue_folder(archive, settings.day_folder)
        jobs.start()
        backups.start()
        yield
        backups.stop()
        jobs.stop()
        archive.close()

    app = AddressedApp(
        title="Stillair",
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        dependencies=[Depends(allowed)],
    )
    app.state.settings, app.state.archive, app.state.jobs = settings, archive, jobs
    app.state.results, app.state.uploads = ResultShelf(archive), uploads
    app.state.templates, app.state.addresses = make_environment(), Addresses(app)
    of_predictions = (predictions_api, predictions_import_pages, predictions_pages, predictions_figure_pages)
    of_days_json = (days_api, adding_api, change_api, folder_api, jobs_api, runs_api, traces_api, long_api)
    of_tufts = (tufts_api, station_api)
    programs = (*of_days_json, results_api, again_api, *of_tufts, history_api, uploads_api, program_api, help_api)
    of_days = (season_pages, days_pages, testday_pages, cars_pages, results_pages, runs_pages, history_pages)
    of_work = (compare_pages, compare_days_pages, sign_off_pages, plans_pages, long_pages, verify_pages, tufts_pages)
    of_correlation = (correlation_api, correlation_pages, correlation_figure_pages, verdict_pages)
    of_cars = (release_pages, worth_pages, taps_pages, again_pages, packing_pages, packing_api)
    of_all = (trail_pages, search_pages, help_pages, appearance, live_api)
    of_people = (reports_pages, season_report_pages, accounts_pages, own_pages, people_pages)
    for module in (*programs, *of_days, *of_work, *of_predictions, *of_correlation, *of_cars, *of_all, *of_people):
        app.include_router(module.router)
    for name in ASSETS:
        app.mount(f"/web/{name}", StaticFiles(directory=web_folder() / name), name=name)
    app.add_exception_handler(StillairError, _answer_error)
    app.add_exception_handler(HTTPException, _answer_error)
    app.add_exception_handler(RequestValidationError, _answer_error)
    app.add_exception_handler(Exception, _answer_error)
    _add_guards(app, settings, limit_bytes + FORM_BYTES)
    return app


def _add_guards(app: FastAPI, settings: Settings, body_limit_bytes: int) -> None:
    """What stands before the pages, the outermost last. Only where others can reach the server do people sign in."""
    app.add_middleware(EntryGate, archive=app.state.archive)
    names, app.state.throttle = None, None
    if not is_loopback(settings.host):
        names = own_names(settings.host_names)
        app.state.throttle = Throttle()
        app.add_middleware(SignInGate, archive=app.state.archive, refuse=accounts_pages.refuse, sorry=_answer_error)
    app.add_middleware(Guard, names=names, body_limit_bytes=body_limit_bytes, refuse=_answer)
    app.add_middleware(uploads_api.Protocol)


def _answer_error(request: Request, error: Exception) -> Response:
    if isinstance(error, RequestValidationError) and request.url.path.startswith(JSON_PATHS):
        return _answer(request, 422, place_sentence(error.errors()))
    status, sentence = _status_and_sentence(error)
    is_form = status == 400 and not request.url.path.startswith(JSON_PATHS)
    answer = _answer(request, status, FORM_UNREADABLE if is_form else sentence)
    for name, value in {**HEADERS, **(ASK_LATER if status == 503 else {})}.items():
        answer.headers.setdefault(name, value)  # a mistake is answered outside of what adds them to every answer
    return answer


def _answer(request: Request, status: int, sentence: str) -> Response:
    """A sentence as a page, as a piece of one, or as one JSON shape for who asks for JSON."""
    if "application/json" in request.headers.get("accept", "") or request.url.path.startswith(JSON_PATHS):
        return JSONResponse({"error": sentence}, status)
    if is_htmx(request):
        return render_part(request, "partials/problem.html", status, problem=sentence)
    title = "Not here" if status == 404 else "That did not work"
    return render(request, ErrorPage(title=title, sentence=sentence), status)


def _status_and_sentence(error: Exception) -> tuple[int, str]:
    if isinstance(error, StillairError):
        return next((status for kind, status in STATUSES.items() if isinstance(error, kind)), 422), str(error)
    if isinstance(error, RequestValidationError):
        return 422, "The address or the form holds something that is not meant there."
    if isinstance(error, HTTPException):
        return error.status_code, HTTP_SENTENCES.get(error.status_code, "This cannot be done here.")
    return 500, MISTAKE
