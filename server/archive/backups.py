"""Copies of a whole archive, made while a server works on it, and put back into an empty folder.

    backup folder/
      raw/ab/abcd…           raw files by SHA-256, shared by all copies, each written once
      2026-05-09 173000-120/  one copy: archive.sqlite3 and manifest.json

Of an archive with a store that computers share, its files are copied just so: a backup is whole without the store.

A copy is the same thing wherever the archive's database is: of one on a server all rows are written into that file, and
put back onto a server they go out of it again.

A raw file is written before the row that names it and never taken away: so the database is copied first, as it is at
one moment, and every file that it names is there afterwards. A copy gets its name when all of it is on disk.

A raw file that is damaged or gone stops no copy: the manifest names it, and the copy pushes out none that is whole.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.address import SQLITE_FILE, Address, place_of
from server.archive.backup_files import (
    MANIFEST,
    BadFile,
    Progress,
    bad_files_of,
    bring_files,
    outdated,
    rows_of,
    take_files,
)
from server.archive.database import Database, now_utc
from server.archive.disk import FULL, disk_in_words, sync_folder
from server.archive.events import head
from server.archive.folder_lock import FolderLock
from server.archive.place import database_of
from server.archive.raw_files import RawStore, sha256_of
from server.archive.store_address import raw_of
from server.archive.tables import Event
from server.errors import NotFoundError, StillairError

DATABASE, UNFINISHED = SQLITE_FILE, "unfinished "
NAME = re.compile(r"\d{4}-\d\d-\d\d \d{6}-\d{3}")
INSIDE = "The folder for backups {folder} lies inside the archive; name one on another disk."
NOT_EMPTY = "The folder {folder} holds an archive already; a backup is put back into an empty one."
BEING_MADE = "A backup into the folder {folder} is being made already; try again when it has ended."
OTHERS = (
    "The folder {folder} holds backups of another archive, which would be pushed out one by one; name a folder of its "
    "own for this one."
)
NO_BACKUP = "There is no backup {what} in {folder}."
CHANGED = "The backup {name} is not as it was made: {what}. Nothing was put back."


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy: its folder's name, the newest event in it, how many raw files it names, and what it took anew.

    damaged: what the archive has no more as it was kept; where that says no backup, this one lacks it.
    """

    name: str
    event: int
    event_sha256: str
    files: int
    new_files: int
    new_bytes: int
    database_sha256: str
    damaged: tuple[BadFile, ...] = ()


def back_up(data_folder: Path, target: Path, keep: int, progress: Progress) -> Backup:
    """Copy the archive of a data folder; afterwards at most `keep` whole copies stand there, the newest, and as many
    that lack a damaged file.

    Raises StillairError where the place cannot be, DiskFullError where it is full; then no copy is half there.
    """
    source, place = data_folder.resolve(), target.resolve()
    if place == source or source in place.parents:
        raise StillairError(INSIDE.format(folder=target))
    with disk_in_words():
        place.mkdir(parents=True, exist_ok=True)
        with _alone(place):
            return _back_up(source, place, keep, progress)


@contextmanager
def _alone(place: Path) -> Iterator[None]:
    """One backup at a time: two would sweep away each other's. Raises StillairError; a disk without locks has none."""
    lock = None
    try:
        lock = FolderLock(place, BEING_MADE)
    except OSError as error:
        if error.errno in FULL:
            raise
    try:
        yield
    finally:
        if lock is not None:
            lock.release()


def _back_up(source: Path, place: Path, keep: int, progress: Progress) -> Backup:
    for left in place.glob(f"{UNFINISHED}*"):
        shutil.rmtree(left)
    making = place / f"{UNFINISHED}{os.getpid()}"
    making.mkdir()
    try:
        made = _copy(source, place, making, progress)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    for old in outdated(place, copies_in(place), keep):
        shutil.rmtree(place / old)
    return made


def copies_in(folder: Path) -> list[str]:
    """The copies in a folder for backups, the newest first."""
    found = [each.name for each in folder.iterdir() if NAME.fullmatch(each.name) and (each / MANIFEST).is_file()]
    return sorted(found, reverse=True)


def restore(target: Path, name: str | None, data_folder: Path, progress: Progress) -> str:
    """Put a copy (the newest, when none is named) into an empty data folder; gives its name.

    Every hash is looked at on the way. Raises StillairError where one is not as it was; no database is there then.
    Where the settings name a database on a server, it goes into that one, which must be empty.
    """
    _empty_place(data_folder)
    names = copies_in(target) if target.is_dir() else []
    chosen = name or (names[0] if names else "")
    if chosen not in names:
        raise NotFoundError(NO_BACKUP.format(what=repr(chosen) if chosen else "at all", folder=target))
    manifest = json.loads((target / chosen / MANIFEST).read_text("utf-8"))
    with disk_in_words():
        data_folder.mkdir(parents=True, exist_ok=True)
        lock = FolderLock(data_folder)
        try:
            _lay_down(target, chosen, manifest["database"]["sha256"], data_folder, progress)
        finally:
            lock.release()
    return chosen


def _lay_down(target: Path, chosen: str, sha256: str, data_folder: Path, progress: Progress) -> None:
    place, laid = _empty_place(data_folder), data_folder / f"{UNFINISHED}{DATABASE}"
    shutil.copyfile(target / chosen / DATABASE, laid)
    try:
        if sha256_of(laid) != sha256:
            raise StillairError(CHANGED.format(name=chosen, what="its database has other bytes"))
        _bring_files(laid, target, chosen, raw_of(data_folder), progress)
        _sync(laid)
        if isinstance(place, Address):
            _pour(laid, place, progress)
        else:
            laid.replace(place)
    except BaseException:
        laid.unlink(missing_ok=True)
        raise
    sync_folder(data_folder)


def _copy(source: Path, place: Path, making: Path, progress: Progress) -> Backup:
    progress(0.0, "the database")
    database = database_of(source, read_only=True)
    try:
        database.copy_to(making / DATABASE)
    finally:
        database.close()
    copy = Database(making / DATABASE)
    try:
        with copy.reading() as session:
            first, (event, event_sha256) = _first_event(session), head(session)
            _refuse_others(place, first)
            rows = rows_of(session)
            taken = take_files(rows, raw_of(source), RawStore(place / "raw"), copies_in(place), progress)
    finally:
        copy.as_one_file()
    digest = _sync(making / DATABASE)
    name = _free_name(place)
    made = Backup(name, event, event_sha256, len(rows), taken.files, taken.bytes, digest, taken.bad)
    (making / MANIFEST).write_text(json.dumps(_manifest(made, making, first), indent=1), "utf-8")
    _sync(making / MANIFEST)
    sync_folder(making)
    making.rename(place / made.name)
    sync_folder(place)
    return made


def _empty_place(data_folder: Path) -> Path | Address:
    """Where the database goes. Raises StillairError where there is an archive already."""
    if (data_folder / DATABASE).exists():
        raise StillairError(NOT_EMPTY.format(folder=data_folder))
    place = place_of(data_folder)
    if isinstance(place, Address):
        from server.archive.moving import refuse_full

        refuse_full(place)
    return place


def _pour(laid: Path, place: Address, progress: Progress) -> None:
    """A copy, brought to this program's version, into the database on a server."""
    from server.archive.moving import pour

    database = Database(laid)
    try:
        database.migrate(keep_old=False)
    finally:
        database.as_one_file()
    pour(laid, place, lambda _: [], progress)
    place.leave_mark()
    laid.unlink()


def _bring_files(database: Path, target: Path, name: str, ours: RawStore, progress: Progress) -> None:
    opened = Database(database)
    try:
        with opened.reading() as session:
            rows = rows_of(session)
    finally:
        opened.as_one_file()
    lacked = [one.sha256 for one in bad_files_of(target / name)]
    wrong = bring_files(rows, RawStore(target / "raw"), ours, lacked, progress)
    if wrong:
        raise StillairError(CHANGED.format(name=name, what=wrong))


def _first_event(session: Session) -> str | None:
    """The seal by which an archive is told from another; None before anything happened in it."""
    return session.scalar(select(Event.sha256).order_by(Event.id).limit(1))


def _refuse_others(place: Path, first: str | None) -> None:
    """Raise StillairError where the newest copy is of another archive: each would push out the other's."""
    for name in copies_in(place)[:1]:
        theirs = json.loads((place / name / MANIFEST).read_text("utf-8")).get("first_event")
        if first and theirs and first != theirs:
            raise StillairError(OTHERS.format(folder=place))


def _manifest(made: Backup, making: Path, first: str | None) -> dict[str, object]:
    database = {"sha256": made.database_sha256, "bytes": (making / DATABASE).stat().st_size}
    newest = {"number": made.event, "sha256": made.event_sha256}
    at = now_utc().isoformat(timespec="seconds")
    kept = {"format": 1, "made_at": at, "database": database, "newest_event": newest, "files": made.files}
    return kept | {"first_event": first, "damaged": [asdict(one) for one in made.damaged]}


def _free_name(place: Path) -> str:
    """The moment, to the thousandth, so that names stand in the order in which copies were made."""
    while True:
        name = f"{now_utc():%Y-%m-%d %H%M%S-%f}"[:-3]
        if not (place / name).exists():
            return name


def _sync(file: Path) -> str:
    """Make a file's bytes safe on disk; gives their SHA-256."""
    with file.open("rb") as stream:
        os.fsync(stream.fileno())
    return sha256_of(file)
