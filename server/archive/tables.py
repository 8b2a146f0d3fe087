"""Tables of the archive itself: raw files by their hash, jobs, the chain of events, and entries that tablets sent."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, BigInteger, CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

JOB_STATES = ("queued", "running", "done", "failed", "cancelled")
JOB_LANES = ("quick", "long")


class RawFile(Base):
    """A file kept byte for byte; its bytes lie under its SHA-256 in the raw store."""

    __tablename__ = "raw_files"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    stored_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class Job(Base):
    """A piece of long work: what it is, how far it has come, what came of it.

    `payload` is what the work needs, `target` names what came of it; `error` is one sentence for a person.
    `lane`: a quick job (a fit that somebody waits for) never stands behind a long one. `day_id`: the day it is about.
    """

    __tablename__ = "jobs"
    __table_args__ = (
        CheckConstraint(f"state IN {JOB_STATES}", name="state"),
        CheckConstraint(f"lane IN {JOB_LANES}", name="lane"),
    )

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    kind: Mapped[str] = mapped_column(String(40))
    label: Mapped[str]
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    lane: Mapped[str] = mapped_column(String(10), default="quick")
    day_id: Mapped[int | None] = mapped_column(index=True)
    who: Mapped[str] = mapped_column(default="")
    state: Mapped[str] = mapped_column(String(10), default="queued", index=True)
    fraction: Mapped[float] = mapped_column(default=0.0)
    text: Mapped[str] = mapped_column(default="waiting")
    error: Mapped[str | None]
    target: Mapped[str | None]
    starts: Mapped[int] = mapped_column(default=0)
    created_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc, index=True)
    finished_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)


class Event(Base):
    """Something that a person or the program changed: appended, never altered (the database refuses).

    sha256 covers all other columns and the previous event's sha256: see `server.archive.events`.
    """

    __tablename__ = "events"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str] = mapped_column(String(40))
    who: Mapped[str]
    kind: Mapped[str] = mapped_column(String(40), index=True)
    day_id: Mapped[int | None] = mapped_column(index=True)
    subject: Mapped[str]
    before: Mapped[str | None]
    after: Mapped[str | None]
    reason: Mapped[str]
    previous_sha256: Mapped[str] = mapped_column(String(64))
    sha256: Mapped[str] = mapped_column(String(64), unique=True)


class KeptEntry(Base):
    """An entry that a tablet sent and that was kept: its id, so that it is never kept twice, and what came of it.

    made_at: when it was entered; event_id: the event of its write, None where a job was queued instead.
    """

    __tablename__ = "kept_entries"

    id: Mapped[str] = mapped_column(String(60), primary_key=True)
    tablet: Mapped[str] = mapped_column(String(40), index=True)
    event_id: Mapped[int | None] = mapped_column(ForeignKey("events.id", ondelete="RESTRICT"))
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime)
    kept_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
