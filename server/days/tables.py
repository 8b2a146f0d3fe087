"""Test days and the files that each was read from."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.archive.database import Base, UtcDateTime, now_utc

RAW_FILE = "raw_files.sha256"


class StoredDay(Base):
    """One test day. `content_sha256` covers its files' paths and hashes: a folder sent twice is one day."""

    __tablename__ = "days"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str]
    date: Mapped[dt.date | None] = mapped_column(index=True)
    content_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    sent_as: Mapped[str]
    upload_sha256: Mapped[str | None] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"))
    added_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    files: Mapped[list[DayFile]] = relationship(order_by="DayFile.path", cascade="all, delete-orphan")


class DayFile(Base):
    """A file of a day's folder: its path in the folder and the raw file that holds its bytes."""

    __tablename__ = "day_files"

    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), primary_key=True)
    path: Mapped[str] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"), index=True)
