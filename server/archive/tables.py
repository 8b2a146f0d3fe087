"""Tables of the archive itself: raw files by their hash, and jobs."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, BigInteger, CheckConstraint, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

JOB_STATES = ("queued", "running", "done", "failed")


class RawFile(Base):
    """A file kept byte for byte; its bytes lie under its SHA-256 in the raw store."""

    __tablename__ = "raw_files"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    stored_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class Job(Base):
    """A piece of long work: what it is, how far it has come, what came of it.

    `payload` is what the work needs, `target` names what came of it; `error` is one sentence for a person.
    """

    __tablename__ = "jobs"
    __table_args__ = (CheckConstraint(f"state IN {JOB_STATES}", name="state"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    kind: Mapped[str] = mapped_column(String(40))
    label: Mapped[str]
    payload: Mapped[dict[str, Any]] = mapped_column(JSON)
    state: Mapped[str] = mapped_column(String(10), default="queued", index=True)
    fraction: Mapped[float] = mapped_column(default=0.0)
    text: Mapped[str] = mapped_column(default="waiting")
    error: Mapped[str | None]
    target: Mapped[str | None]
    starts: Mapped[int] = mapped_column(default=0)
    created_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc, index=True)
    finished_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)
