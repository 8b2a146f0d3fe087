"""Use cases of days: keep one with its files, list them, hand a folder back."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.raw_files import sha256_of
from server.days.tables import DayFile, StoredDay
from server.errors import NotFoundError

FIT_JOB = "fit-day"


@dataclass(frozen=True, slots=True)
class IncomingDay:
    """A day that was read: its name and date, its folder, what it was sent as, and the file that was sent."""

    name: str
    date: dt.date | None
    folder: Path
    sent_as: str
    upload: Path | None = None


def folder_files(folder: Path) -> list[tuple[str, Path]]:
    """The files of a day's folder as (path in it, file), in order; hidden ones and links are left out."""
    found = []
    for file in folder.rglob("*"):
        inside = file.relative_to(folder)
        if (
            file.is_file()
            and not file.is_symlink()
            and not any(part.startswith(".") for part in inside.parts)
        ):
            found.append((inside.as_posix(), file))
    return sorted(found)


def content_sha256(folder: Path) -> str:
    """One hash for all that a folder holds: SHA-256 over its paths and the hashes of its files."""
    lines = "".join(f"{sha256_of(file)} {path}\n" for path, file in folder_files(folder))
    return hashlib.sha256(lines.encode()).hexdigest()


def keep_day(archive: Archive, session: Session, incoming: IncomingDay) -> StoredDay:
    """Keep a day and every file of its folder byte for byte; a folder that is here already gives that day."""
    content = content_sha256(incoming.folder)
    known = session.scalar(select(StoredDay).where(StoredDay.content_sha256 == content))
    if known is not None:
        return known
    upload = archive.raw.add(session, incoming.upload) if incoming.upload else None
    day = StoredDay(
        name=incoming.name,
        date=incoming.date,
        content_sha256=content,
        sent_as=incoming.sent_as,
        upload_sha256=upload.sha256 if upload else None,
    )
    for path, file in folder_files(incoming.folder):
        day.files.append(DayFile(path=path, sha256=archive.raw.add(session, file).sha256))
    session.add(day)
    session.flush()
    return day


def find_day(session: Session, day_id: int) -> StoredDay:
    """The day. Raises NotFoundError."""
    day = session.get(StoredDay, day_id)
    if day is None:
        raise NotFoundError(f"There is no test day number {day_id}.")
    return day


def list_days(session: Session) -> list[StoredDay]:
    """All days, the latest first; days without a date stand by when they were added."""
    days = session.scalars(select(StoredDay))
    return sorted(days, key=lambda day: (day.date or day.added_at.date(), day.id), reverse=True)
