"""The chain of events as JSON, and the hash that seals it."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field
from sqlalchemy import select

from server.archive.events import SEALED, head
from server.archive.tables import Event
from server.days.schemas import Body, Problem, Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.history.objects import OBJECTS
from server.history.service import EventChoice, conditions
from server.history.verify_job import find_report, queue_verify

router = APIRouter(prefix="/api", tags=["history"], responses={404: {"model": Problem}, 422: {"model": Problem}})


class Head(BaseModel):
    """The newest event: written down elsewhere, it proves that none was cut off the end."""

    id: int
    sha256: str


class Events(BaseModel):
    """Events, the oldest first; `next` is the `after` of the following page, null at the end."""

    events: list[dict[str, Any]]
    next: int | None = Field(description="Number of the last event here, when more follow.")


@router.get("/events", name="api_events", summary="Who changed what when")
def events(
    archive: TheArchive,
    *,
    after: Annotated[int, Query(ge=0, le=2**62)] = 0,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    day_id: Annotated[int | None, Query(ge=1, le=2**31)] = None,
    who: Annotated[str, Query(max_length=80, description="Only of this person.")] = "",
    kind: Annotated[str, Query(max_length=80, description="Only of this kind, as run-moved.")] = "",
    about: Annotated[Literal["", *OBJECTS], Query(description="Only about things of this kind.")] = "",  # type: ignore[valid-type]
    name: Annotated[str, Query(max_length=200, description="Which of them: its number or name.")] = "",
) -> Events:
    """Every column as it was sealed; before and after are JSON texts."""
    with archive.database.reading() as session:
        fulfil = conditions(archive, session, EventChoice(who, kind, day_id, about, name))
        chosen = select(Event).where(Event.id > after, *fulfil).order_by(Event.id).limit(limit + 1)
        rows = [{name: getattr(one, name) for name in (*SEALED, "sha256")} for one in session.scalars(chosen)]
    return Events(events=rows[:limit], next=rows[limit - 1]["id"] if len(rows) > limit else None)


@router.get("/events/head", name="api_head", summary="Number and hash of the newest event")
def newest(archive: TheArchive) -> Head:
    """64 zeros before the first event."""
    with archive.database.reading() as session:
        number, sha256 = head(session)
    return Head(id=number, sha256=sha256)


class Check(Body):
    """An object without fields."""


class Report(BaseModel):
    """What a check of the archive found: one sentence a fault."""

    number: int
    who: str
    at: str
    version: str
    looked_at: str
    head: Head
    faults: list[str]


@router.post("/verify", name="api_verify", status_code=202, summary="Check the archive")
def verify(sent: Check, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:  # noqa: ARG001 - empty
    """Every hash, event, revision and result; the job's target is the number of the report."""
    with archive.database.writing() as session:
        job_id = queue_verify(archive, session, person)
    runner.wake()
    return Queued(job_id=job_id)


@router.get("/verify/{number}", name="api_verified", summary="What a check of the archive found")
def verified(number: Annotated[int, Path(ge=1, le=2**31)], archive: TheArchive) -> Report:
    """As `stillair verify` prints it."""
    with archive.database.reading() as session:
        kept = find_report(archive, session, number)
    seal = Head(id=kept.head[0], sha256=kept.head[1])
    return Report(
        number=kept.number, who=kept.who, at=kept.at, version=kept.version, looked_at=kept.looked_at,
        head=seal, faults=list(kept.faults),
    )  # fmt: skip
