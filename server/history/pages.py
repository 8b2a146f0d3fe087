"""Pages of what was done: all events, those of a day, and the work that waits, runs or has ended."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy import select

from server.archive.events import chain_faults, head
from server.archive.jobs import cancel_job
from server.archive.tables import Job
from server.days.day_addresses_pages import to_job
from server.days.job_view import Outcome, outcome_of, text_of
from server.days.service import find_day, list_days, list_revisions
from server.dependencies import CurrentPerson, CurrentSettings, Jobs, TheArchive
from server.history.backup_job import damage_at, newest_backup, queue_backup
from server.history.event_objects import WITHIN_A_DAY
from server.history.objects import OBJECTS
from server.history.service import EVENTS_A_PAGE, EventChoice, EventLine, chosen_events, names_of
from server.results.service import results_of
from server.templating import Crumb, Page, render

router = APIRouter(default_response_class=HTMLResponse)

JOBS_SHOWN = 100
STATE_WORDS = {"queued": "waits", "running": "runs", "done": "done", "failed": "failed", "cancelled": "called off"}
SEE_OTHER = 303


@dataclass(frozen=True, slots=True)
class RevisionLine:
    """A revision of a day; `fitted` says when it was fitted, each time."""

    number: int
    at: str
    who: str
    what: str
    fitted: str


@dataclass(frozen=True, kw_only=True)
class HistoryPage(Page):
    """Events, the newest first; revisions only for one day; `checked` is empty until it is asked for.

    chosen: what they were chosen by, in words; pages: this one and the last; abouts: slug and word; named: how one of
    the chosen kind is named;
    within_a_day: slugs of what each day has its own of.
    """

    template: ClassVar[str] = "history/events.html"
    help: ClassVar[str] = "history"
    events: tuple[EventLine, ...]
    number: int
    choice: EventChoice
    people: tuple[str, ...]
    kinds: tuple[str, ...]
    days: tuple[tuple[int, str], ...]
    revisions: tuple[RevisionLine, ...]
    day_name: str
    checked: str
    newer: str
    older: str
    first: str
    last: str
    pages: tuple[int, int]
    abouts: tuple[tuple[str, str], ...]
    named: str
    chosen: str
    all_link: str
    within_a_day: tuple[str, ...]
    check_link: str


@dataclass(frozen=True, slots=True)
class WorkLine:
    """A job in the list."""

    id: str
    label: str
    words: str
    open: bool
    percent: int
    text: str
    who: str
    day_id: int | None
    at: str
    outcome: Outcome | None


@dataclass(frozen=True, kw_only=True)
class WorkPage(Page):
    """The work that waits, runs and has ended. damage: what the newest backup found damaged, in words."""

    template: ClassVar[str] = "history/jobs.html"
    help: ClassVar[str] = "jobs"
    jobs: tuple[WorkLine, ...]
    going: int
    backup: str
    backup_event: int
    damage: str
    backups_set: bool


Number = Annotated[int, Query(ge=1, le=1_000_000)]
Word = Annotated[str, Query(max_length=80)]
LongWord = Annotated[str, Query(max_length=200)]


@router.get("/history", name="history")
def history(
    request: Request,
    archive: TheArchive,
    *,
    who: Word = "",
    kind: Word = "",
    day: Word = "",
    about: Word = "",
    name: LongWord = "",
    page: Number = 1,
    check: bool = False,
) -> HTMLResponse:
    """All events."""
    day_id = int(day) if day.isascii() and day.isdigit() and len(day) < 10 else None
    return _page(request, archive, EventChoice(who, kind, day_id, about, name), page, check=check)


@router.get("/days/{day_id}/history", name="day_history")
def day_history(
    request: Request,
    day_id: int,
    archive: TheArchive,
    *,
    who: Word = "",
    kind: Word = "",
    about: Word = "",
    name: LongWord = "",
    page: Number = 1,
    check: bool = False,
) -> HTMLResponse:
    """The events of a day and its revisions."""
    return _page(request, archive, EventChoice(who, kind, day_id, about, name), page, check=check, of_day=True)


@router.get("/jobs", name="jobs")
def work(request: Request, archive: TheArchive, settings: CurrentSettings) -> HTMLResponse:
    """The work, the newest first."""
    with archive.database.reading() as session:
        newest = select(Job).order_by(Job.created_at.desc(), Job.id.desc()).limit(JOBS_SHOWN)
        lines = tuple(_work_line(job) for job in session.scalars(newest))
        last = newest_backup(session)
        damage = damage_at(last)
    crumbs = (Crumb("Season", str(request.app.url_path_for("days"))),)
    backup = f"{last.at[:16].replace('T', ' ')} UTC" if last else ""
    going, is_set = sum(one.open for one in lines), settings.backup_folder is not None
    page = WorkPage(
        title="Work", crumbs=crumbs, jobs=lines, going=going, backup=backup, backup_event=last.id if last else 0,
        damage=damage, backups_set=is_set,
    )  # fmt: skip
    return render(request, page)


@router.post("/backups", name="back_up")
def back_up(
    request: Request, archive: TheArchive, jobs: Jobs, person: CurrentPerson, settings: CurrentSettings
) -> Response:
    """A backup of the whole archive now, into the folder that is set."""
    with archive.database.writing() as session:
        job_id = queue_backup(session, archive, settings.backup_folder, settings.backups_kept, person)
    return to_job(request, jobs, job_id)


@router.post("/jobs/{job_id}/cancel", name="cancel_job")
def cancel(request: Request, job_id: str, archive: TheArchive, jobs: Jobs) -> Response:
    """Call a job off; one that has ended already stays as it is."""
    with archive.database.writing() as session:
        cancel_job(session, job_id)
    jobs.wake()
    return RedirectResponse(request.app.url_path_for("jobs"), SEE_OTHER)


def _work_line(job: Job) -> WorkLine:
    going = job.state in ("queued", "running")
    text = text_of(job) if going else job.error or ""
    at = _minute(job.created_at)
    percent = round(100 * job.fraction)
    return WorkLine(
        job.id, job.label, STATE_WORDS[job.state], going, percent, text, job.who, job.day_id, at, outcome_of(job)
    )


def _page(
    request: Request, archive: TheArchive, choice: EventChoice, page: int, *, check: bool, of_day: bool = False
) -> HTMLResponse:
    crumbs = [Crumb("Season", str(request.app.url_path_for("days")))]
    day_name, revisions = "", ()
    with archive.database.reading() as session:
        if of_day and choice.day_id is not None:
            day_name = find_day(session, choice.day_id).name
            crumbs.append(Crumb(day_name, str(request.app.url_path_for("result", day_id=str(choice.day_id)))))
            fits: dict[int, list[str]] = {}
            for row in results_of(session, choice.day_id):
                fits.setdefault(row.revision_id, []).append(_minute(row.made_at))
            revisions = tuple(
                RevisionLine(one.number, _minute(one.made_at), one.who, one.what, ", ".join(fits.get(one.id, [])))
                for one in list_revisions(session, choice.day_id)
            )
        events, number = chosen_events(archive, session, choice, page)
        people, kinds = names_of(session)
        days = () if of_day else tuple((day.id, f"{day.name}, {day.date or 'no date'}") for day in list_days(session))
        checked = ""
        if check:
            faults = [fault.text for fault in chain_faults(session)]
            last, sha256 = head(session)
            good = f"All {last} events stand as they were sealed; the newest seal is {sha256}."
            checked = good if not faults else f"{len(faults)} faults in the chain of events: {'; '.join(faults[:5])}."
    asked = {"who": choice.who, "kind": choice.kind, "day": "" if of_day else choice.day_id or ""}
    asked |= {"about": choice.about, "name": choice.name}
    kept = {key: value for key, value in asked.items() if value}

    def link(**more: object) -> str:
        return f"{request.url.path}?{urlencode({**kept, **more})}"

    return render(
        request,
        HistoryPage(
            title="History",
            crumbs=tuple(crumbs),
            events=tuple(events),
            number=number,
            choice=choice,
            people=tuple(people),
            kinds=tuple(kinds),
            days=days,
            revisions=revisions,
            day_name=day_name,
            checked=checked,
            newer=link(page=page - 1) if page > 1 else "",
            older=link(page=page + 1) if page * EVENTS_A_PAGE < number else "",
            last=link(page=-(-number // EVENTS_A_PAGE)) if page * EVENTS_A_PAGE < number else "",
            first=link() if page > 1 else "",
            pages=(page, max(1, -(-number // EVENTS_A_PAGE))),
            abouts=tuple((slug, one.word) for slug, one in OBJECTS.items()),
            named=OBJECTS[choice.about].named if choice.about in OBJECTS else "",
            chosen=_chosen_words(choice, day_name, days),
            all_link=request.url.path if kept else "",
            within_a_day=WITHIN_A_DAY,
            check_link=link(check="true"),
        ),
    )


def _chosen_words(choice: EventChoice, day_name: str, days: tuple[tuple[int, str], ...]) -> str:
    """What was chosen, as the first sentence says it: “about run 3, by Ana”."""
    thing = OBJECTS[choice.about].word if choice.about in OBJECTS else choice.about
    day = dict(days).get(choice.day_id or 0, f"day {choice.day_id}") if choice.day_id and not day_name else day_name
    words = (
        (f"about {thing} {choice.name}" if choice.name else f"about any {thing}") if choice.about else "",
        f"of the kind {choice.kind.replace('-', ' ')}" if choice.kind else "",
        f"of {day}" if day else "",
        f"by {choice.who}" if choice.who else "",
    )
    return ", ".join(word for word in words if word)


def _minute(at: dt.datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M UTC")
