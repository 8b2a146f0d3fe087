"""Results of days; a day fitted again gets another row, the old one stays."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc


class FittedResult(Base):
    """A result: the revision of the day that was fitted and the file that holds the result whole, by its SHA-256.

    summary: what lists show of it, made anew when its form changes; moved: what differs from the result before it.
    """

    __tablename__ = "results"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="CASCADE"), index=True)
    revision_id: Mapped[int] = mapped_column(ForeignKey("day_revisions.id", ondelete="RESTRICT"), index=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_files.sha256", ondelete="RESTRICT"))
    version: Mapped[str] = mapped_column(String(40))
    summary: Mapped[Any] = mapped_column(JSON)
    moved: Mapped[list[dict[str, Any]]] = mapped_column(JSON, default=list)
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
