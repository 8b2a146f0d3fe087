"""Uploads that are coming in or have come in."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

UPLOAD_STATES = ("receiving", "received", "refused")


class Upload(Base):
    """A file that a device sends piece by piece; received_bytes are safe on disk.

    sent_metadata is the tus header Upload-Metadata as it came: the protocol gives it back.
    """

    __tablename__ = "uploads"
    __table_args__ = (CheckConstraint(f"state IN {UPLOAD_STATES}", name="state"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True)
    name: Mapped[str]
    sent_metadata: Mapped[str] = mapped_column(default="")
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    received_bytes: Mapped[int] = mapped_column(BigInteger, default=0)
    state: Mapped[str] = mapped_column(String(10), default="receiving", index=True)
    sha256: Mapped[str | None] = mapped_column(ForeignKey("raw_files.sha256", ondelete="RESTRICT"))
    who: Mapped[str] = mapped_column(default="")
    device: Mapped[str] = mapped_column(default="")
    created_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    touched_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
