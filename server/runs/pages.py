"""The page of a run: is this recording good? Its forms say otherwise of a pass, a column, its setup and notes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from server.archive.archive import Archive
from server.archive.jobs import cancel_job, find_job
from server.days import changes
from server.days.change import find_run
from server.days.changes import Change
from server.days.form_fields import FieldError, decimal_of
from server.days.revisions import newest_day, revise_day
from server.days.service import newest_revision, revision_files
from server.dependencies import CurrentPerson, Jobs, Results, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.theme import setup_marks
from server.results.preview_job import PassMove, PreviewView, preview_view, queue_preview
from server.results.service import ResultShelf
from server.runs import figure_pages
from server.runs.columns import RecordingColumns, role_words
from server.runs.reading_pages import (
    AskedRole,
    Refused,
    RunPage,
    channel_choices,
    crumbs,
    groups,
    neighbours,
    next_step,
    pass_lines,
    passes_table,
    recordings_of,
    run_facts,
    run_now,
    sentence,
    span_of,
)
from server.runs.recordings import queue_reading, run_logs, unread
from server.runs.speed import Window
from server.templating import is_htmx, render, render_part
from server.testday.role_table import ROLES
from server.testday.roles import NOTHING
from server.testday.values import Day, PassEdit
from server.tufts.day_view import run_photos

router = APIRouter(default_response_class=HTMLResponse)
router.include_router(figure_pages.router)
SEE_OTHER = 303
LONGEST = 400
LONGEST_NOTES = 4000
MOVED = "the edges were moved"

DayId = Annotated[int, Path(ge=1, le=2**31)]
Number = Annotated[int, Path(ge=0, le=2**31)]
Revision = Annotated[int, Form()]
Reason = Annotated[str, Form(max_length=LONGEST)]
Typed = Annotated[str, Form(max_length=60)]
Column = Annotated[str, Query(max_length=200)]


@router.get("/days/{day_id}/runs/{number}", name="run")
def run_page(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, results: Results,
    window: figure_pages.Stretch, channels: figure_pages.Chosen, column: Column = "", preview: Column = "",
) -> HTMLResponse:  # fmt: skip
    """The run as it stands. column: whose role is asked; preview: the job of one."""
    page = _page(request, archive, results, (day_id, number), (window, channels), ask=(column, preview), refused=None)
    return render(request, page)


def _page(
    request: Request, archive: Archive, results: ResultShelf, of: tuple[int, int],
    drawn: tuple[Window, tuple[str, ...]], *, ask: tuple[str, str], refused: Refused | None,
) -> RunPage:  # fmt: skip
    with archive.database.reading() as session:
        now = run_now(archive, session, results, *of)
        shown = preview_view(session, *of, ask[1]) if ask[1] else None
        photos = run_photos(session, now.day, *of)
    recordings = recordings_of(archive, now)
    lines = pass_lines(now, refused)
    silent = [row.name for one in recordings for row in one.rows if row.silent]
    names = [setup.name for setup in now.day.setups]
    window, channels = drawn
    before, after = neighbours(now)
    return RunPage(
        title=f"Run {now.run.number}",
        crumbs=crumbs(request, now),
        day_id=now.day_id,
        run=now.run,
        revision=now.revision,
        mark=setup_marks(names)[now.run.setup],
        setups=tuple(names),
        passes=lines,
        sentence=sentence(lines, now.stale),
        next_step=next_step(lines, list(now.result.findings) if now.result else [], len(silent)),
        findings=groups(now, recordings),
        facts=run_facts(now),
        before=before,
        after=after,
        stale=now.stale,
        refit=now.refit,
        has_result=now.result is not None,
        reading=now.reading.id if now.reading else "",
        read=not now.waiting,
        span=span_of(archive, now),
        window=window,
        query=figure_pages.figure_query(window, channels),
        channels=channel_choices(recordings, channels),
        recordings=recordings,
        roles=tuple(sorted(((role, role_words(role)) for role in ROLES), key=lambda pair: pair[1])),
        asked=_asked(recordings, ask[0] or (silent[0] if silent else "")),
        preview=shown,
        refused=refused,
        photos=photos,
        copied=passes_table(now).to_tsv(),
    )


def _asked(recordings: tuple[RecordingColumns, ...], column: str) -> AskedRole | None:
    """The form of a column's role, filled with what stands."""
    found = (row for one in recordings for row in one.rows if row.name == column)
    row = next(found, None)
    return AskedRole(row.name, row.unit, row.role, row.silent) if row else None


@router.post("/days/{day_id}/runs/{number}/passes", name="run_pass")
def edit_pass(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, results: Results, jobs: Jobs,
    person: CurrentPerson, say: Annotated[str, Form()], revision: Revision,
    start_s: Typed, end_s: Typed, was_start_s: Typed, was_end_s: Typed, reason: Reason = "",
) -> Response:  # fmt: skip
    """Leave a pass out, use it with these edges, or take back what was said of it."""

    def change(day: Day) -> Change:
        was = typed_span(was_start_s, was_end_s)
        if say == "clear":
            return changes.clear_pass_edits(day, number, *was)
        edit = PassEdit(*typed_span(start_s, end_s), say == "use", reason.strip())
        return changes.edit_pass(day, number, edit, was)

    typed = {"start_s": start_s, "end_s": end_s, "reason": reason}
    refused = _revised(archive, day_id, change, who=person, reason=reason, expected=revision)
    return _answer(request, archive, results, jobs, (day_id, number), Refused(f"pass {was_start_s}", typed, refused))


def typed_span(start: str, end: str) -> tuple[float, float]:
    """The ends of a stretch as they were typed [s]. Raises FieldError."""
    found = [(decimal_of(text.strip(), name, label), label, name) for text, name, label in (
        (start, "start_s", "The start"), (end, "end_s", "The end"))]  # fmt: skip
    for value, label, name in found:
        if value is None:
            raise FieldError(name, f"{label} is missing.")
    return float(found[0][0] or 0), float(found[1][0] or 0)


def _revised(
    archive: Archive, day_id: int, change: Callable[[Day], Change], *, who: str, reason: str, expected: int
) -> str:
    """Keep a change; gives why it was refused, empty where it was not."""
    try:
        revise_day(archive, day_id, change, who=who, reason=reason, expected=expected)
    except NotFoundError:
        raise
    except StillairError as refusal:
        return str(refusal)
    return ""


def _answer(
    request: Request, archive: Archive, results: ResultShelf, jobs: Jobs, of: tuple[int, int], *refused: Refused
) -> Response:
    """Back to the page; where the change was refused, the page with what was typed and why."""
    if refused[0].problem:
        drawn: tuple[Window, tuple[str, ...]] = (Window(), ())
        column = refused[0].typed.get("column", "")
        page = _page(request, archive, results, of, drawn, ask=(column, ""), refused=refused[0])
        return render(request, page, 422)
    jobs.wake()
    return _back(request, *of)


@router.post("/days/{day_id}/runs/{number}/setup", name="run_setup")
def move_run(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, results: Results, jobs: Jobs,
    person: CurrentPerson, setup: Annotated[str, Form(max_length=LONGEST)], revision: Revision, reason: Reason = "",
) -> Response:  # fmt: skip
    """The run was driven in another setup."""

    def change(day: Day) -> Change:
        return changes.move_run(day, number, setup)

    refused = _revised(archive, day_id, change, who=person, reason=reason, expected=revision)
    typed = {"setup": setup, "reason": reason}
    return _answer(request, archive, results, jobs, (day_id, number), Refused("setup", typed, refused))


@router.post("/days/{day_id}/runs/{number}/notes", name="run_notes")
def keep_notes(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, results: Results, jobs: Jobs,
    person: CurrentPerson, revision: Revision, notes: Annotated[str, Form(max_length=LONGEST_NOTES)] = "",
) -> Response:  # fmt: skip
    """What a person wants to be read beside the run."""

    def change(day: Day) -> Change:
        return changes.change_run(day, number, notes=notes.replace("\r\n", "\n").strip())

    refused = _revised(archive, day_id, change, who=person, reason="", expected=revision)
    return _answer(request, archive, results, jobs, (day_id, number), Refused("notes", {"notes": notes}, refused))


@router.post("/days/{day_id}/runs/{number}/roles", name="run_role")
def give_role(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, results: Results, jobs: Jobs,
    person: CurrentPerson, revision: Revision, column: Annotated[str, Form(max_length=200)], role: Typed = "",
    was: Typed = "", unit: Typed = "", runs: Typed = "all", reason: Reason = "",
) -> Response:  # fmt: skip
    """A column plays another role, or has a unit that its log does not say; was: the role that it had."""

    def change(day: Day) -> Change:
        which = None if runs == "all" else number
        if not role and was:
            return changes.assign_role(day, which, was, NOTHING)
        return changes.assign_role(day, which, role, column, unit)

    refused = _revised(archive, day_id, change, who=person, reason=reason, expected=revision)
    typed = {"column": column, "role": role, "unit": unit, "runs": runs, "reason": reason}
    return _answer(request, archive, results, jobs, (day_id, number), Refused("role", typed, refused))


@router.post("/days/{day_id}/runs/{number}/logs", name="run_read")
def read_logs(
    request: Request, day_id: DayId, number: Number, archive: TheArchive, jobs: Jobs, *, person: CurrentPerson
) -> Response:
    """Have the run's logs read into the samples store."""
    with archive.database.writing() as session:
        revision, day = newest_day(archive, session, day_id)
        files = revision_files(session, revision.id)
        waiting = unread(archive, run_logs(day, find_run(day, number), files))
        job_id = queue_reading(archive, session, (day_id, number), waiting, person) if waiting else ""
    jobs.wake()
    if not is_htmx(request):
        return _back(request, day_id, number)
    return run_status(request, day_id, number, job_id, archive) if job_id else _whole_page_again()


@router.get("/days/{day_id}/runs/{number}/status/{job_id}", name="run_status")
def run_status(request: Request, day_id: DayId, number: Number, job_id: str, archive: TheArchive) -> Response:
    """The piece of the page that waits for a job; when it is done the page is asked for again."""
    with archive.database.reading() as session:
        job = find_job(session, job_id)
        if job.state in ("done", "cancelled"):
            return _whole_page_again()
        return render_part(request, "runs/waiting.html", day_id=day_id, number=number, job=job)


def _whole_page_again() -> Response:
    return HTMLResponse("", headers={"HX-Refresh": "true"})


@router.post("/days/{day_id}/runs/{number}/preview", name="run_preview")
def start_preview(
    request: Request, day_id: DayId, number: Number, *, archive: TheArchive, jobs: Jobs, person: CurrentPerson,
    revision: Revision, start_s: Typed, end_s: Typed, was_start_s: Typed, was_end_s: Typed,
) -> Response:  # fmt: skip
    """Try an edit of a pass: fit the day with it, keep nothing."""
    edit = PassEdit(*typed_span(start_s, end_s), True, MOVED)
    move = PassMove(number, typed_span(was_start_s, was_end_s), edit)
    with archive.database.writing() as session:
        newest, day = newest_day(archive, session, day_id)
        if newest.number != revision:
            raise StillairError(f"Somebody changed this day meanwhile (revision {newest.number}); look at it again.")
        changes.edit_pass(day, number, edit, move.was)  # what makes no sense is refused here
        job_id = queue_preview(archive, session, newest, move, person)
    jobs.wake()
    if is_htmx(request):
        return run_preview(request, day_id, number, job_id, archive)
    there = str(request.app.url_path_for("run", day_id=str(day_id), number=str(number)))
    return RedirectResponse(f"{there}?preview={job_id}#preview", SEE_OTHER)


@router.get("/days/{day_id}/runs/{number}/preview/{job_id}", name="run_preview_part")
def run_preview(request: Request, day_id: DayId, number: Number, job_id: str, archive: TheArchive) -> Response:
    """A preview as it stands, as a piece of the page."""
    with archive.database.reading() as session:
        shown: PreviewView = preview_view(session, day_id, number, job_id)
    return render_part(request, "runs/preview.html", day_id=day_id, number=number, preview=shown)


@router.post("/days/{day_id}/runs/{number}/preview/{job_id}", name="run_put_back")
def put_back(
    request: Request, day_id: DayId, number: Number, job_id: str, archive: TheArchive, *, jobs: Jobs
) -> Response:
    """Nothing of a preview is kept; it is called off where it is still on the way."""
    with archive.database.writing() as session:
        newest_revision(session, day_id)
        preview_view(session, day_id, number, job_id)
        cancel_job(session, job_id)
    jobs.wake()
    return _back(request, day_id, number)


def _back(request: Request, day_id: int, number: int) -> Response:
    there = request.app.url_path_for("run", day_id=str(day_id), number=str(number))
    return RedirectResponse(str(there), SEE_OTHER)
