"""Photos of tufts, what is known of them, the marks on them, stations, views, cameras: rows that are only appended.

What is changed is a new row with the next number; the newest is what stands. Every row is told of, whole, by an event.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, InnerPath, UtcDateTime, now_utc

PHOTO_KINDS = ("photo", "prediction")
DAY, PHOTO, RAW_FILE = "days.id", "tuft_photos.id", "raw_files.sha256"


class TuftPhoto(Base):
    """A picture of a day, as it came. kind: a photo of tufts, or a picture of the predicted surface flow.

    path: in the day's folder. width_px, height_px: of the picture turned upright. taken: what the camera's clock said,
    "2026-05-09 09:31:12", empty where it said nothing. said: what a person should know of the file, as a truncated end.
    """

    __tablename__ = "tuft_photos"
    __table_args__ = (
        CheckConstraint(f"kind IN {PHOTO_KINDS}", name="kind"),
        UniqueConstraint("day_id", "sha256"),
        UniqueConstraint("day_id", "path"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey(DAY, ondelete="RESTRICT"), index=True)
    kind: Mapped[str] = mapped_column(String(12), default="photo")
    sha256: Mapped[str] = mapped_column(ForeignKey(RAW_FILE, ondelete="RESTRICT"))
    name: Mapped[str]
    path: Mapped[str] = mapped_column(InnerPath)
    width_px: Mapped[int]
    height_px: Mapped[int]
    taken: Mapped[str] = mapped_column(default="")
    camera: Mapped[str] = mapped_column(default="")
    said: Mapped[str] = mapped_column(default="")
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TuftPhotoFacts(Base):
    """What a person says of a photo, or its time proposes: run, setup (without a run), part, camera view, notes.

    settled: a person said which run it is, not the clock. standing: taken of the standing car in still air.
    flow_rad: where the flow goes on the picture, as a person said. removed: it is looked at no more.
    """

    __tablename__ = "tuft_photo_facts"
    __table_args__ = (UniqueConstraint("photo_id", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    photo_id: Mapped[int] = mapped_column(ForeignKey(PHOTO, ondelete="RESTRICT"), index=True)
    number: Mapped[int]
    run: Mapped[int | None]
    setup: Mapped[str] = mapped_column(default="")
    part: Mapped[str] = mapped_column(default="")
    view: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    settled: Mapped[bool] = mapped_column(default=False)
    standing: Mapped[bool] = mapped_column(default=False)
    flow_rad: Mapped[float | None]
    burst: Mapped[str] = mapped_column(default="")
    removed: Mapped[bool] = mapped_column(default=False)
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TuftMarkRow(Base):
    """A mark as it was set, moved, turned or taken back. mark: its name, given by the device that set it.

    layer: whose reading it is part of. entry: names this one change, so that one that is sent twice is kept once.
    detail: what a machine reading says besides.
    """

    __tablename__ = "tuft_marks"
    __table_args__ = (UniqueConstraint("photo_id", "layer", "mark", "number"), UniqueConstraint("photo_id", "entry"))

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    photo_id: Mapped[int] = mapped_column(ForeignKey(PHOTO, ondelete="RESTRICT"), index=True)
    layer: Mapped[str]
    mark: Mapped[str] = mapped_column(String(40))
    number: Mapped[int]
    entry: Mapped[str] = mapped_column(String(40))
    x_px: Mapped[float]
    y_px: Mapped[float]
    direction_rad: Mapped[float | None]
    condition: Mapped[str] = mapped_column(String(12), default="")
    station: Mapped[str] = mapped_column(default="")
    by: Mapped[str] = mapped_column(String(8), default="person")
    removed: Mapped[bool] = mapped_column(default=False)
    detail: Mapped[dict[str, Any]] = mapped_column(JSON, default=dict)
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TuftStations(Base):
    """The stations of a part with the prediction there. setup: whose prediction it is; empty for all setups.

    source: the name of the CSV, or of the picture that they were marked on. stations: a list of {name, x_m, y_m,
    direction_rad, condition}. plan_photo_id: the picture whose points, scaled, are x and y.
    """

    __tablename__ = "tuft_stations"
    __table_args__ = (UniqueConstraint("day_id", "part", "setup", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey(DAY, ondelete="RESTRICT"), index=True)
    part: Mapped[str]
    setup: Mapped[str] = mapped_column(default="")
    number: Mapped[int]
    source: Mapped[str] = mapped_column(default="")
    plan_photo_id: Mapped[int | None] = mapped_column(ForeignKey(PHOTO, ondelete="RESTRICT"))
    stations: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TuftView(Base):
    """How a part lies on the photos of a camera view. pairs: a list of {x_m, y_m, x_px, y_px, name}.

    photo_id: the photo that the points were found on; width_px, height_px: its size, for photos of another size.
    """

    __tablename__ = "tuft_views"
    __table_args__ = (UniqueConstraint("day_id", "view", "part", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey(DAY, ondelete="RESTRICT"), index=True)
    view: Mapped[str]
    part: Mapped[str]
    number: Mapped[int]
    photo_id: Mapped[int] = mapped_column(ForeignKey(PHOTO, ondelete="RESTRICT"))
    pairs: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


class TuftCamera(Base):
    """How far a camera's clock is ahead of the day's [s]."""

    __tablename__ = "tuft_cameras"
    __table_args__ = (UniqueConstraint("day_id", "camera", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    day_id: Mapped[int] = mapped_column(ForeignKey(DAY, ondelete="RESTRICT"), index=True)
    camera: Mapped[str]
    number: Mapped[int]
    ahead_s: Mapped[float]
    who: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)


TUFT_TABLES: tuple[type[Base], ...] = (TuftPhoto, TuftPhotoFacts, TuftMarkRow, TuftStations, TuftView, TuftCamera)
