"""Use cases of days: keep one with its files, list them, give a revision's folder or values back."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import inner_path
from server.archive.events import record
from server.archive.raw_files import RawStore, sha256_of
from server.days.tables import DayRevision, RevisionFile, StoredDay
from server.errors import NotFoundError

MOST_NUMBER = 2**63 - 1  # what the database can be asked for
FIT_JOB = "fit-day"
REFIT_JOB = "refit-day"
EARLY_JOB = "early-estimate"  # of a revision whose fit is on the way


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
        if file.is_file() and not file.is_symlink() and not any(part.startswith(".") for part in inside.parts):
            found.append((inside.as_posix(), file))
    return sorted(found)


def content_sha256(folder: Path) -> str:
    """One hash for all that a folder holds: SHA-256 over its paths and the hashes of its files."""
    return hash_of_files((path, sha256_of(file)) for path, file in folder_files(folder))


def hash_of_files(files: Iterable[tuple[str, str]]) -> str:
    """One hash for files named by path and SHA-256, in the order of their paths."""
    lines = "".join(f"{sha256} {path}\n" for path, sha256 in sorted(files))
    return hashlib.sha256(lines.encode()).hexdigest()


def keep_day(archive: Archive, session: Session, incoming: IncomingDay, who: str = "") -> StoredDay:
    """Keep a day and every file of its folder byte for byte; a folder that is here already gives that day."""
    files = {path: archive.raw.add(session, file).sha256 for path, file in folder_files(incoming.folder)}
    content = hash_of_files(files.items())
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
    session.add(day)
    session.flush()
    add_revision(session, day, files, who, "added")
    after = {"revision": 1, "content_sha256": content, "sent_as": incoming.sent_as, "files": files}
    record(session, who=who, kind="day-added", day_id=day.id, subject=day.name, after=after)
    return day


def add_revision(session: Session, day: StoredDay, files: Mapping[str, str], who: str, what: str) -> DayRevision:
    """Append a revision of these files (path → SHA-256, all kept before) to a day."""
    newest = session.scalar(_newest(day.id))
    revision = DayRevision(
        day_id=day.id,
        number=newest.number + 1 if newest else 1,
        content_sha256=hash_of_files(files.items()),
        who=who,
        what=what,
        files=[RevisionFile(path=path, sha256=sha256) for path, sha256 in sorted(files.items())],
    )
    session.add(revision)
    session.flush()
    return revision


def find_day(session: Session, day_id: int) -> StoredDay:
    """The day. Raises NotFoundError."""
    day = session.get(StoredDay, day_id) if 0 < day_id <= MOST_NUMBER else None
    if day is None:
        raise NotFoundError(f"There is no test day number {day_id}.")
    return day


def newest_revision(session: Session, day_id: int) -> DayRevision:
    """The day as it stands. Raises NotFoundError."""
    revision = session.scalar(_newest(day_id))
    if revision is None:
        raise NotFoundError(f"There is no test day number {day_id}.")
    return revision


def find_revision(session: Session, day_id: int, number: int) -> DayRevision:
    """A revision of a day by its number. Raises NotFoundError."""
    chosen = select(DayRevision).where(DayRevision.day_id == day_id, DayRevision.number == number)
    revision = session.scalar(chosen)
    if revision is None:
        raise NotFoundError(f"Test day number {day_id} has no revision {number}.")
    return revision


def list_revisions(session: Session, day_id: int) -> list[DayRevision]:
    """All revisions of a day, the newest first."""
    chosen = select(DayRevision).where(DayRevision.day_id == day_id).order_by(DayRevision.number.desc())
    return list(session.scalars(chosen))


def list_days(session: Session) -> list[StoredDay]:
    """All days, the latest first; days without a date stand by when they were added."""
    days = session.scalars(select(StoredDay))
    return sorted(days, key=lambda day: (day.date or day.added_at.date(), day.id), reverse=True)


def revision_files(session: Session, revision_id: int) -> dict[str, str]:
    """Path → SHA-256 of a revision's files."""
    chosen = select(RevisionFile.path, RevisionFile.sha256).where(RevisionFile.revision_id == revision_id)
    return {path: sha256 for path, sha256 in session.execute(chosen.order_by(RevisionFile.path))}  # noqa: C416 - rows are no pairs to dict()


def write_files(archive: Archive, files: Mapping[str, str], folder: Path) -> Path:
    """Lay a revision's files out as a folder of their own bytes, whole or not at all."""
    return write_folder_of({path: archive.raw.path(sha256) for path, sha256 in files.items()}, folder)


def write_folder_of(files: Mapping[str, Path | bytes], folder: Path) -> Path:
    """Lay files out as a folder of their own bytes, whole or not at all."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name[:40]}-"))
    try:
        for path, file in files.items():
            target = part / inner_path(path)
            target.parent.mkdir(parents=True, exist_ok=True)
            if isinstance(file, bytes):
                target.write_bytes(file)
            else:
                shutil.copyfile(file, target)
        os.replace(part, folder)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return folder


def link_files(archive: Archive, files: Mapping[str, str], folder: Path) -> Path:
    """The same for reading only, without copying."""
    for path, sha256 in files.items():
        lay_out(archive.raw, sha256, folder / path)
    return folder


def lay_out(raw: RawStore, sha256: str, target: Path) -> None:
    """Put a kept file somewhere for reading: a hard link where the disk allows it, else a copy."""
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(raw.path(sha256), target)
    except OSError:
        shutil.copyfile(raw.path(sha256), target)


def _newest(day_id: int):  # type: ignore[no-untyped-def]
    return select(DayRevision).where(DayRevision.day_id == day_id).order_by(DayRevision.number.desc()).limit(1)
