"""The page of a test day: where are we now; and its pieces that come in by themselves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, ClassVar

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.tables import Job
from server.days.adding_runs import ADD_RUNS
from server.days.adding_view import AddView, add_view
from server.days.beside_fit import is_seen
from server.days.clock_now import clock_if_today
from server.days.day_addresses_pages import SEE_OTHER, DayId, Wanted, season_crumb
from server.days.day_course_pages import COURSE_WORDS, course_places
from server.days.day_view import AirView, Neighbour, RunRow, air_view, day_marks, neighbours, run_rows
from server.days.job_view import JobView, job_view
from server.days.remarks_forms import has_remarks, remarks_text
from server.days.revisions import newest_day
from server.days.service import REFIT_JOB, list_days
from server.days.tables import DayRevision
from server.days.trackside_forms import Leading, leading
from server.days.wanted_forms import wanted_area, wanted_source, wanted_text
from server.dependencies import CurrentSettings, TheArchive, known_person
from server.figures.theme import SetupMark
from server.results.drift_words import DriftView, drift_view
from server.results.moved_view import MovedView, moved_view
from server.results.next_step import WANTED_U95_M2
from server.results.service import latest_result, summary_of
from server.results.standing_view import SetupStanding, setup_standings
from server.results.trackside_view import DifferenceLine, Trackside, trackside, urgent
from server.templating import Page, is_htmx, render, render_part
from server.testday.values import Day, Finding

router = APIRouter(default_response_class=HTMLResponse)
NO_CONTENT = 204
Seen = Annotated[int, Query(ge=0, le=2**31)]


@dataclass(frozen=True, slots=True)
class Asking:
    """A finding that needs a person."""

    grade: str
    code: str
    text: str
    run: int | None


@dataclass(frozen=True, slots=True)
class Now:
    """Where the day stands. result, revision: what this was made of; stale: that revision is not fitted yet;
    failed: why its fit did not come to an end; runs: those that the newest result saw; job: what is being worked on;
    wanted: of each area [m²], asked: where the address asks for another one than the day's; urgent: what needs a
    person now; drift: has the baseline moved.
    """

    sentence: str
    setups: tuple[SetupStanding, ...]
    differences: tuple[DifferenceLine, ...]
    wanted: float
    asked: float | None
    run_words: str
    result: int
    revision: int
    stale: bool
    failed: str
    job: JobView | None
    moved: MovedView | None
    urgent: tuple[Finding, ...]
    drift: DriftView | None
    asking: tuple[Asking, ...]
    notes: int
    rows: tuple[RunRow, ...]
    changed: bool = False


@dataclass(frozen=True, kw_only=True)
class DayPage(Page):
    """A test day. course: addresses of the figure; before, after: the days beside it; folder: its export; lead: the
    next step, and the forms that stand open; wanted: what somebody said, with its source."""

    template: ClassVar[str] = "days/day.html"
    help: ClassVar[str] = "testday"
    live: ClassVar[bool] = True
    day_id: int
    name: str
    date: str
    now: Now
    course: dict[str, str]
    course_words: str
    air: AirView
    lead: Leading
    wanted: str
    wanted_source: str
    person: str
    remarks: dict[int, str]
    add: AddView
    limit_mb: float
    before: Neighbour | None
    after: Neighbour | None
    folder: str


@router.get("/days/{day_id}", name="day")
def day(
    request: Request, day_id: DayId, archive: TheArchive, settings: CurrentSettings, wanted: Wanted = None
) -> HTMLResponse:
    """Where the day stands, and what comes in."""
    return render(request, day_page(request, day_id, archive, settings, wanted=wanted))


def day_page(
    request: Request, day_id: int, archive: TheArchive, settings: CurrentSettings, *,
    wanted: float | None = None, add: AddView | None = None,
) -> DayPage:  # fmt: skip
    """The page; add: its forms as they were sent, where they are refused."""
    with archive.database.reading() as session:
        revision, values = newest_day(archive, session, day_id)
        now = _now(archive, session, day_id, (revision, values), wanted)
        before, after = neighbours(list_days(session), day_id)
    clock = clock_if_today(values)
    air, person = air_view(values, clock), known_person(request)
    return DayPage(
        title=values.name,
        crumbs=(season_crumb(request),),
        day_id=day_id,
        name=values.name,
        date=values.date.isoformat() if values.date else "no date",
        now=now,
        course=course_places(request, day_id, wanted),
        course_words=COURSE_WORDS,
        air=air,
        lead=leading(values, air, now.run_words, person, today=clock is not None),
        wanted=wanted_text(values),
        wanted_source=wanted_source(values),
        person=person,
        remarks={run.number: remarks_text(run) for run in values.runs if has_remarks(run)},
        add=add or add_view(values),
        limit_mb=settings.upload_limit_mb,
        before=before,
        after=after,
        folder=str(request.app.url_path_for("day_folder", day_id=str(day_id))),
    )


def _now(
    archive: TheArchive, session: Session, day_id: int, newest: tuple[DayRevision, Day], wanted: float | None
) -> Now:
    (revision, values), row = newest, latest_result(session, day_id)
    summary = summary_of(archive, row) if row else None
    marks, job = day_marks(values), _open_job(session, day_id)
    today = clock_if_today(values) is not None
    side = trackside(summary, values, marks, wanted, today=today) if summary else _nothing(marks)
    stale = not is_seen(session, revision, row.revision_id if row else None)
    failed = _failure(session, day_id) if stale and job is None else ""
    told = summary["asking"] if summary else ()
    asking = tuple(Asking(each["grade"], each["code"], each["text"], each["run"]) for each in told)
    return Now(
        sentence=side.sentence if summary else _first_sentence(values, job),
        setups=side.setups,
        differences=side.differences,
        wanted=wanted or wanted_area(values) or WANTED_U95_M2,
        asked=wanted,
        run_words=side.advice.passes if side.advice else "",
        result=row.id if row else 0,
        revision=revision.number,
        stale=stale,
        failed=failed,
        job=job,
        moved=moved_view(session, day_id),
        urgent=urgent(summary, values),
        drift=drift_view(summary) if summary else None,
        asking=tuple(sorted(asking, key=lambda each: (each.grade != "stop", each.run or 0))),
        notes=summary["findings"]["note"] if summary else 0,
        rows=run_rows(values, summary["runs"] if summary else ()),
    )


def _nothing(marks: dict[str, SetupMark]) -> Trackside:
    """Before there is any result."""
    return Trackside("", setup_standings(None, marks, WANTED_U95_M2), (), None)


def _first_sentence(values: Day, job: JobView | None) -> str:
    """Before there is any result."""
    count = f"{len(values.runs)} run{'' if len(values.runs) == 1 else 's'}"
    if job is not None:
        return f"{count} on the way through the first fit; the drag areas will stand here in about a minute."
    return f"{count} and no result yet: the day as it stands was not fitted."


def _open_job(session: Session, day_id: int) -> JobView | None:
    """What is being worked on for the day: the first that runs or waits."""
    chosen = select(Job).where(
        Job.day_id == day_id, Job.kind.in_((REFIT_JOB, ADD_RUNS)), Job.state.in_(("queued", "running"))
    )
    job = session.scalar(chosen.order_by(Job.state.desc(), Job.created_at, Job.id).limit(1))
    return job_view(job) if job else None


def _failure(session: Session, day_id: int) -> str:
    fits = select(Job.state, Job.error).where(Job.day_id == day_id, Job.kind == REFIT_JOB)
    newest = session.execute(fits.order_by(Job.created_at.desc(), Job.id.desc()).limit(1)).first()
    return (newest.error or "") if newest and newest.state in ("failed", "cancelled") else ""


@router.get("/days/{day_id}/now", name="day_now")
def now_piece(
    request: Request, day_id: DayId, archive: TheArchive, *,
    result: Seen = 0, revision: Seen = 0, idle: bool = False, wanted: Wanted = None,
) -> Response:  # fmt: skip
    """What the page asks for again and again: how far the work is; with a new result, all that came of it.

    result, revision: those that the page shows; idle: it shows no work either, so that nothing new needs no answer.
    """
    if not is_htmx(request):
        return RedirectResponse(str(request.app.url_path_for("day", day_id=str(day_id))), SEE_OTHER)
    with archive.database.reading() as session:
        newest = newest_day(archive, session, day_id)
        now = _now(archive, session, day_id, newest, wanted)
    fresh, changed = now.result != result, bool(revision) and now.revision != revision
    if idle and not fresh and not changed and now.job is None:
        return Response(status_code=NO_CONTENT)
    now = replace(now, changed=changed, revision=revision or now.revision)
    places = course_places(request, day_id, wanted)
    return render_part(
        request, "days/day_now.html", now=now, day_id=day_id, fresh=fresh, course=places, course_words=COURSE_WORDS,
    )  # fmt: skip
