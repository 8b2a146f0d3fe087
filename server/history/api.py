"""The chain of events as JSON, and the hash that seals it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from sqlalchemy import select

from server.archive.events import SEALED, head
from server.archive.tables import Event
from server.days.schemas import Problem
from server.dependencies import TheArchive

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
    after: Annotated[int, Query(ge=0, le=2**62)] = 0,
    limit: Annotated[int, Query(ge=1, le=500)] = 100,
    day_id: Annotated[int | None, Query(ge=1, le=2**31)] = None,
) -> Events:
    """Every column as it was sealed; before and after are JSON texts."""
    chosen = select(Event).where(Event.id > after).order_by(Event.id).limit(limit + 1)
    if day_id is not None:
        chosen = chosen.where(Event.day_id == day_id)
    with archive.database.reading() as session:
        rows = [{name: getattr(one, name) for name in (*SEALED, "sha256")} for one in session.scalars(chosen)]
    return Events(events=rows[:limit], next=rows[limit - 1]["id"] if len(rows) > limit else None)


@router.get("/events/head", name="api_head", summary="Number and hash of the newest event")
def newest(archive: TheArchive) -> Head:
    """64 zeros before the first event."""
    with archive.database.reading() as session:
        number, sha256 = head(session)
    return Head(id=number, sha256=sha256)
