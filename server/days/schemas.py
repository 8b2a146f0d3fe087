"""Days, their revisions and jobs as JSON."""

from __future__ import annotations

import datetime as dt
from typing import Any

from pydantic import BaseModel, ConfigDict, Field


class Problem(BaseModel):
    """What went wrong."""

    error: str = Field(description="One sentence.")


class DayView(BaseModel):
    """A test day."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    name: str
    date: dt.date | None
    sent_as: str
    added_at: dt.datetime
    content_sha256: str = Field(description="Of the day's first revision.")


class RevisionView(BaseModel):
    """A day as it stood from one change to the next."""

    model_config = ConfigDict(from_attributes=True)

    number: int
    who: str
    what: str = Field(description="What was changed.")
    made_at: dt.datetime
    content_sha256: str


class DayWithSummary(DayView):
    """A test day and what its newest result says; null while it has none."""

    summary: dict[str, Any] | None


class DayWithRevisions(DayView):
    """A test day and its revisions, the newest first."""

    revisions: list[RevisionView]


class RevisionValues(BaseModel):
    """A revision's values, SI inside, and its files (path → SHA-256)."""

    revision: RevisionView
    files: dict[str, str]
    day: dict[str, Any]


class JobView(BaseModel):
    """A piece of long work."""

    model_config = ConfigDict(from_attributes=True)

    id: str
    kind: str
    label: str
    lane: str
    day_id: int | None
    state: str = Field(description="queued, running, done, failed or cancelled.")
    fraction: float
    text: str
    error: str | None
    created_at: dt.datetime
    finished_at: dt.datetime | None
