"""Sets of predictions, how each ended, names matched to setups, tables being read in, mappings remembered.

The cases of a set lie in a file of the raw store under their SHA-256, which an event names: see `content`.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

RAW_FILE = "raw_files.sha256"
KINDS = ("areas", "taps")
ENDS = ("withdrawn", "revised")


class PredictionSet(Base):
    """Cases that came in together, never altered. recipe: solver, mesh, turbulence model in free words.

    day_id: the day whose own predictions.csv this is. cases, left_out: rows taken, and bad ones left out.
    """

    __tablename__ = "prediction_sets"
    __table_args__ = (CheckConstraint(f"kind IN {KINDS}", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    car: Mapped[str] = mapped_column(index=True)
    kind: Mapped[str] = mapped_column(String(10))
    name: Mapped[str]
    recipe: Mapped[str]
    author: Mapped[str]
    dated: Mapped[dt.date | None]
    file_name: Mapped[str]
    file_sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"), index=True)
    content_sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"))
    day_id: Mapped[int | None] = mapped_column(ForeignKey("days.id", ondelete="RESTRICT"), index=True)
    cases: Mapped[int]
    left_out: Mapped[int]
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class PredictionEnd(Base):
    """A set that no longer stands: withdrawn, or revised by another one; it stays readable."""

    __tablename__ = "prediction_ends"
    __table_args__ = (CheckConstraint(f"how IN {ENDS}", name="how"),)

    set_id: Mapped[int] = mapped_column(ForeignKey("prediction_sets.id", ondelete="RESTRICT"), primary_key=True)
    how: Mapped[str] = mapped_column(String(10))
    reason: Mapped[str]
    next_id: Mapped[int | None] = mapped_column(ForeignKey("prediction_sets.id", ondelete="RESTRICT"))
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class SetupMatch(Base):
    """A person's word on which setup of a car a name in predictions means; setup is empty for none of them."""

    __tablename__ = "prediction_matches"
    __table_args__ = (UniqueConstraint("car", "written"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    car: Mapped[str] = mapped_column(index=True)
    written: Mapped[str]
    setup: Mapped[str]
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class PredictionDraft(Base):
    """A table that came in and is not yet a set; choices: what was said of it so far."""

    __tablename__ = "prediction_drafts"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    car: Mapped[str]
    file_name: Mapped[str]
    sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"))
    revises_id: Mapped[int | None] = mapped_column(ForeignKey("prediction_sets.id", ondelete="RESTRICT"))
    choices: Mapped[dict[str, Any]] = mapped_column(JSON)
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TableMapping(Base):
    """How tables with these headers were last read: proposed again for the next one of the same shape."""

    __tablename__ = "prediction_mappings"

    shape: Mapped[str] = mapped_column(String(64), primary_key=True)
    choices: Mapped[dict[str, Any]] = mapped_column(JSON)
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
