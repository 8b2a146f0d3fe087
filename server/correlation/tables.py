"""What a team decided about verdicts, and by how much it lets predictions be off."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, Double, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

STANCES = ("accepted", "explained", "doubted")


class DecisionNote(Base):
    """A person's word on one verdict, never altered: a later note supersedes it.

    The verdict is that of one result and one set of predictions (None: the day's own table); against: the baseline of
    a change, empty for a total. told: the verdict's sentence as it stood then.
    """

    __tablename__ = "decision_notes"
    __table_args__ = (CheckConstraint(f"stance IN {STANCES}", name="stance"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    car: Mapped[str] = mapped_column(index=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="RESTRICT"), index=True)
    result_id: Mapped[int] = mapped_column(ForeignKey("results.id", ondelete="RESTRICT"))
    set_id: Mapped[int | None] = mapped_column(ForeignKey("prediction_sets.id", ondelete="RESTRICT"))
    setup: Mapped[str]
    quantity: Mapped[str] = mapped_column(String(40))
    against: Mapped[str]
    verdict: Mapped[str] = mapped_column(String(20))
    told: Mapped[str]
    stance: Mapped[str] = mapped_column(String(10))
    text: Mapped[str]
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("decision_notes.id", ondelete="RESTRICT"))
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class MeasuredTaps(Base):
    """A table of pressure coefficients that a day measured at taps, kept as a raw file; the newest of a day stands."""

    __tablename__ = "measured_taps"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey("days.id", ondelete="RESTRICT"), index=True)
    name: Mapped[str]
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_files.sha256", ondelete="RESTRICT"))
    taps: Mapped[int]
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class CorrelationMargins(Base):
    """By how much a car's predictions may be off, as shares; events tell what stood before."""

    __tablename__ = "correlation_margins"

    car: Mapped[str] = mapped_column(primary_key=True)
    total: Mapped[float] = mapped_column(Double)
    change: Mapped[float] = mapped_column(Double)
    numerical_correlation: Mapped[float] = mapped_column(Double)
    who: Mapped[str]
    at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
