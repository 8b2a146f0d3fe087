"""Test days, their revisions, and the files of each revision."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.archive.database import Base, InnerPath, UtcDateTime, now_utc

RAW_FILE = "raw_files.sha256"


class StoredDay(Base):
    """One test day. `content_sha256` is that of its first revision: a folder sent twice is one day.

    name and date are those of the newest revision.
    """

    __tablename__ = "days"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str]
    date: Mapped[dt.date | None] = mapped_column(index=True)
    content_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    sent_as: Mapped[str]
    upload_sha256: Mapped[str | None] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"))
    added_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    revisions: Mapped[list[DayRevision]] = relationship(order_by="DayRevision.number")


class DayRevision(Base):
    """A day as it stood from one change to the next: a whole test-day folder, never altered.

    `what` says in a sentence what was changed; `content_sha256` covers the paths and hashes of its files.
    """

    __tablename__ = "day_revisions"
    __table_args__ = (UniqueConstraint("day_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="RESTRICT"), index=True)
    number: Mapped[int]
    content_sha256: Mapped[str] = mapped_column(String(64))
    who: Mapped[str]
    what: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    files: Mapped[list[RevisionFile]] = relationship(order_by="RevisionFile.path", cascade="save-update, merge")


class RevisionFile(Base):
    """A file of a revision: its path in the folder and the raw file that holds its bytes."""

    __tablename__ = "revision_files"

    revision_id: Mapped[int] = mapped_column(ForeignKey("day_revisions.id", ondelete="RESTRICT"), primary_key=True)
    path: Mapped[str] = mapped_column(InnerPath, primary_key=True)
    sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"), index=True)


class RevisionFacts(Base):
    """What lists show of a revision, so that none of its files is opened for them: see `server.days.facts`.

    In three parts, of which each list reads its own: its heading, its runs, what was given of the car.
    """

    __tablename__ = "revision_facts"

    revision_id: Mapped[int] = mapped_column(ForeignKey("day_revisions.id", ondelete="RESTRICT"), primary_key=True)
    format: Mapped[int]
    brief: Mapped[dict[str, Any]] = mapped_column(JSON)
    runs: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    given: Mapped[list[dict[str, Any]]] = mapped_column(JSON)


class ColumnChoice(Base):
    """A role that a person gave a log's column: proposed again wherever a column of that name and unit comes."""

    __tablename__ = "column_choices"
    __table_args__ = (UniqueConstraint("column_name", "role"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    column_name: Mapped[str] = mapped_column(index=True)
    role: Mapped[str] = mapped_column(String(40))
    who: Mapped[str]
    chosen_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
