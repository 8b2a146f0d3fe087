"""Pages of one event, of one revision's files, and of where a result comes from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import seal
from server.archive.tables import Event
from server.days.facts import briefs_of
from server.days.service import find_day, find_revision
from server.days.tables import DayRevision, StoredDay
from server.dependencies import TheArchive
from server.history.trail import Detail, KeptFile, details, find_event, kept_files
from server.results.service import find_result, latest_result
from server.results.tables import FittedResult
from server.templating import Crumb, Page, render
from server.testday.rounding import with_uncertainty

router = APIRouter(default_response_class=HTMLResponse)
Number = Annotated[int, Path(ge=1, le=2**31)]


@dataclass(frozen=True, kw_only=True)
class EventPage(Page):
    """One event in full. sound: whether its seal is that of its words; before, after: its neighbours in the chain."""

    template: ClassVar[str] = "history/event.html"
    help: ClassVar[str] = "history"
    number: int
    what: str
    by: str
    at: str
    reason: str
    day_id: int | None
    day_name: str
    details: tuple[Detail, ...]
    sha256: str
    previous_sha256: str
    sound: bool
    newer: int | None


@dataclass(frozen=True, slots=True)
class FittedLine:
    """A result of a revision: its number, when it was made."""

    id: int
    at: str


@dataclass(frozen=True, kw_only=True)
class RevisionPage(Page):
    """A revision of a day: what changed with it, its files by hash, the results that were fitted from it."""

    template: ClassVar[str] = "history/revision.html"
    help: ClassVar[str] = "history"
    day_id: int
    day_name: str
    number: int
    by: str
    at: str
    what: str
    content_sha256: str
    car: str
    files: tuple[KeptFile, ...]
    results: tuple[FittedLine, ...]
    event: int | None


@dataclass(frozen=True, kw_only=True)
class OriginPage(Page):
    """From the numbers of a result to its raw files."""

    template: ClassVar[str] = "history/origin.html"
    help: ClassVar[str] = "history"
    day_id: int
    day_name: str
    result_id: int
    at: str
    fitted_by: str
    result_sha256: str
    numbers: tuple[tuple[str, str], ...]
    revision: int
    revision_who: str
    revision_what: str
    content_sha256: str
    files: tuple[KeptFile, ...]
    event: int | None


@router.get("/history/{number}", name="event")
def event_page(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """One event."""
    with archive.database.reading() as session:
        event = find_event(session, number)
        day = session.get(StoredDay, event.day_id) if event.day_id else None
        there = request.app.url_path_for
        crumbs = [Crumb("Season", str(there("days"))), Crumb("History", str(there("history")))]
        if day is not None:
            crumbs.append(Crumb(day.name, str(there("day_history", day_id=str(day.id)))))
        page = EventPage(
            title=f"Event {number}",
            crumbs=tuple(crumbs),
            number=number,
            what=f"{event.kind.replace('-', ' ')}: {event.subject}",
            by=event.who or "nobody named",
            at=event.at[:19].replace("T", " ") + " UTC",
            reason=event.reason,
            day_id=event.day_id,
            day_name=day.name if day else "",
            details=tuple(details(event)),
            sha256=event.sha256,
            previous_sha256=event.previous_sha256,
            sound=seal(event) == event.sha256,
            newer=session.scalar(select(Event.id).where(Event.id == number + 1)),
        )
        return render(request, page)


@router.get("/days/{day_id}/revisions/{number}", name="day_revision")
def revision_page(request: Request, day_id: Number, number: Number, archive: TheArchive) -> HTMLResponse:
    """A revision with its files."""
    with archive.database.reading() as session:
        day, revision = find_day(session, day_id), find_revision(session, day_id, number)
        fitted = session.scalars(select(FittedResult).where(FittedResult.revision_id == revision.id))
        page = RevisionPage(
            title=f"Revision {number}",
            crumbs=_crumbs(request, day),
            day_id=day_id,
            day_name=day.name,
            number=number,
            by=revision.who or "nobody named",
            at=_minute(revision.made_at),
            what=revision.what,
            content_sha256=revision.content_sha256,
            car=briefs_of(archive, session, [revision.id])[revision.id].car,
            files=tuple(kept_files(session, revision)),
            results=tuple(FittedLine(row.id, _minute(row.made_at)) for row in fitted),
            event=_event_of(session, day_id, f'"revision":{number}', fitted=False),
        )
        return render(request, page)


@router.get("/days/{day_id}/origin", name="day_origin")
def day_origin(request: Request, day_id: Number, archive: TheArchive) -> Response:
    """Where the day's newest result comes from; its history where it has none."""
    with archive.database.reading() as session:
        row, there = latest_result(session, find_day(session, day_id).id), request.app.url_path_for
    if row is None:
        return RedirectResponse(there("day_history", day_id=str(day_id)), 307)
    return RedirectResponse(there("result_origin", day_id=str(day_id), result_id=str(row.id)), 307)


@router.get("/days/{day_id}/results/{result_id}/origin", name="result_origin")
def origin_page(request: Request, day_id: Number, result_id: Number, archive: TheArchive) -> HTMLResponse:
    """Where a result comes from."""
    with archive.database.reading() as session:
        day, row = find_day(session, day_id), find_result(session, day_id, result_id)
        revision = session.get_one(DayRevision, row.revision_id)
        page = OriginPage(
            title="Where it comes from",
            crumbs=(*_crumbs(request, day), Crumb(f"Result {result_id}", _result_path(request, day_id, result_id))),
            day_id=day_id,
            day_name=day.name,
            result_id=result_id,
            at=_minute(row.made_at),
            fitted_by=row.version,
            result_sha256=row.sha256,
            numbers=tuple(_numbers(row)),
            revision=revision.number,
            revision_who=revision.who or "nobody named",
            revision_what=revision.what,
            content_sha256=revision.content_sha256,
            files=tuple(kept_files(session, revision)),
            event=_event_of(session, day_id, f'"result":{result_id},', fitted=True),
        )
        return render(request, page)


def _numbers(row: FittedResult) -> list[tuple[str, str]]:
    """Setup → its drag area, as the summary beside the result has it."""
    lines = []
    for one in row.summary["setups"]:
        scx = one["estimates"].get("SCx")
        half = 0.5 * (scx["high95"] - scx["low95"]) if scx else 0.0
        lines.append((one["setup"], f"SCx {with_uncertainty(scx['value'], half, scx['unit'])}" if scx else "no area"))
    return lines


def _event_of(session: Session, day_id: int, told: str, *, fitted: bool) -> int | None:
    """The event that tells of it: its canonical JSON holds these signs."""
    kind = Event.kind == "day-fitted" if fitted else Event.kind != "day-fitted"
    chosen = select(Event).where(Event.day_id == day_id, kind, Event.after.contains(told, autoescape=True))
    for event in session.scalars(chosen.order_by(Event.id)):
        if f"{event.after},".replace("}", ",").find(told.rstrip(",") + ",") >= 0:
            return event.id
    return None


def _crumbs(request: Request, day: StoredDay) -> tuple[Crumb, ...]:
    there = request.app.url_path_for
    history = Crumb("History", str(there("day_history", day_id=str(day.id))))
    return (Crumb("Season", str(there("days"))), Crumb(day.name, str(there("day", day_id=str(day.id)))), history)


def _result_path(request: Request, day_id: int, result_id: int) -> str:
    return str(request.app.url_path_for("old_result", day_id=str(day_id), result_id=str(result_id)))


def _minute(at: dt.datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M UTC")
