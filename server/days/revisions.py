"""A day read from its newest revision, changed, and kept as the next revision: with its event and its refit."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import update
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.entries import current_entry
from server.archive.events import record
from server.archive.jobs import add_job, new_job_id
from server.archive.tables import Job
from server.days.beside_fit import BESIDE_FIT
from server.days.changes import Change, plain
from server.days.column_choices import remember
from server.days.day_shelf import shelve, stored_day
from server.days.facts import keep_facts
from server.days.meanwhile import is_free
from server.days.service import (
    EARLY_JOB,
    REFIT_JOB,
    add_revision,
    find_day,
    folder_files,
    newest_revision,
    revision_files,
)
from server.days.sign_off import reason_for
from server.days.tables import DayRevision
from server.errors import StillairError
from server.testday.folder import read_folder, write_folder
from server.testday.folder_predictions import FILE as PREDICTIONS_FILE
from server.testday.values import Day

TRIES = 5
REPLACED = "a later change of the day took this fit's place"
UNCHANGED = "Nothing would change by that."
CHANGED = "Somebody changed this day meanwhile (revision {number}); look at it, then try again."
BUSY = "Others keep changing this day; try again."


@dataclass(frozen=True, slots=True)
class Revised:
    """What a change led to: the new revision's number and the job that fits it, "" where no fit sees the change."""

    number: int
    job_id: str
    what: str


@dataclass(frozen=True, slots=True)
class _Written:
    """What a change brings: files by their paths, and the day as it is read from them."""

    files: Mapping[str, Path]
    day: Day


@dataclass(frozen=True, slots=True)
class _Seen:
    """The revision that a change was made of."""

    number: int
    files: Mapping[str, str]


def newest_day(archive: Archive, session: Session, day_id: int) -> tuple[DayRevision, Day]:
    """A day's newest revision and its values. Raises NotFoundError."""
    revision = newest_revision(session, day_id)
    return revision, stored_day(archive, revision_files(session, revision.id))


def revise_day(
    archive: Archive,
    day_id: int,
    change: Callable[[Day], Change],
    *,
    who: str,
    reason: str = "",
    expected: int | None = None,
    lane: str = "quick",
) -> Revised:
    """Change a day and keep what comes of it, all in one transaction, or raise and keep nothing.

    change: a pure function of the newest day, asked again when somebody else was quicker.
    expected: the revision that the person saw; what others changed of the same things since then is refused.
    lane: of the jobs, that the fit waits in. A change that would leave a day that can't be read is refused.
    """
    for _ in range(TRIES):
        with archive.database.reading() as session:
            old = newest_revision(session, day_id)
            seen = _Seen(old.number, revision_files(session, old.id))
            if expected not in (None, seen.number):
                _check_free(archive, session, day_id, change, (int(expected or 0), seen.number))
        day = stored_day(archive, seen.files)
        made = change(day)
        if plain(made.day) == plain(day) and not made.new_files:
            raise StillairError(UNCHANGED)
        with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
            written = _written(made, Path(scratch))
            revised = _keep(archive, day_id, seen, made, written=written, by=(who, reason), lane=lane)
        if revised is not None:
            return revised
    raise StillairError(BUSY)


def _check_free(
    archive: Archive, session: Session, day_id: int, change: Callable[[Day], Change], span: tuple[int, int]
) -> None:
    """Raises StillairError where the revisions in between forbid the change."""
    expected, newest = span
    if is_free(
        session, day_id, change, lambda files: stored_day(archive, files), expected=expected, newest=newest
    ):
        return
    entry = current_entry.get()
    if entry is not None:
        entry.conflict = newest
    raise StillairError(CHANGED.format(number=newest))


def revise_within(
    archive: Archive, session: Session, day_id: int, change: Callable[[Day], Change], *, who: str, reason: str = ""
) -> Revised:
    """The same inside a write transaction that is open already: of a job whose outcome is the change."""
    old = newest_revision(session, day_id)
    seen = _Seen(old.number, revision_files(session, old.id))
    made = change(stored_day(archive, seen.files))
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        written = _written(made, Path(scratch))
        return _append(archive, session, day_id, seen, made, written=written, by=(who, reason), lane="quick")


def _written(made: Change, folder: Path) -> _Written:
    """testday.toml and the tables beside it, and new logs."""
    write_folder(made.day, folder)
    day = read_folder(folder)  # a number out of its range is refused here, and nothing is kept
    return _Written({**dict(folder_files(folder)), **made.new_files}, day)


def _keep(
    archive: Archive,
    day_id: int,
    seen: _Seen,
    made: Change,
    *,
    written: _Written,
    by: tuple[str, str],
    lane: str,
) -> Revised | None:
    """None when another revision came in between."""
    with archive.database.writing() as session:
        if newest_revision(session, day_id).number != seen.number:
            return None
        return _append(archive, session, day_id, seen, made, written=written, by=by, lane=lane)


def _append(
    archive: Archive,
    session: Session,
    day_id: int,
    seen: _Seen,
    made: Change,
    *,
    written: _Written,
    by: tuple[str, str],
    lane: str,
) -> Revised:
    """The next revision, its event, its fit."""
    (who, reason), files = by, seen.files
    reason = reason_for(session, day_id, reason)
    after = {**files, **{path: _kept(archive, session, file) for path, file in written.files.items()}}
    day = find_day(session, day_id)
    revision = add_revision(session, day, after, who, made.what)
    day.name, day.date = made.day.name, made.day.date or day.date
    if PREDICTIONS_FILE in written.files or PREDICTIONS_FILE not in files:  # it is read wherever it lies
        shelve(revision.content_sha256, written.day)
        keep_facts(session, revision.id, written.day)
    record(
        session,
        who=who,
        kind=made.kind,
        day_id=day_id,
        subject=made.subject,
        before=made.before,
        after={"revision": revision.number, "content_sha256": revision.content_sha256, "value": made.after},
        reason=reason,
    )
    remember(session, made.remember, who)
    job_id = "" if made.kind in BESIDE_FIT else queue_refit(archive, session, revision, made.what, who, lane=lane)
    return Revised(revision.number, job_id, made.what)


def _kept(archive: Archive, session: Session, file: Path) -> str:
    """SHA-256 of a file, kept as a raw file; one that is a raw file already has it for a name."""
    return file.name if file.is_relative_to(archive.raw.folder) else archive.raw.add(session, file).sha256


def queue_refit(
    archive: Archive, session: Session, revision: DayRevision, label: str, who: str, *, lane: str = "quick"
) -> str:
    """Queue the fit of a revision; fits of the same day that still wait give way to it."""
    session.execute(
        update(Job)
        .where(Job.kind.in_((REFIT_JOB, EARLY_JOB)), Job.day_id == revision.day_id, Job.state == "queued")
        .values(state="cancelled", error=REPLACED, finished_at=now_utc())
    )
    job_id = new_job_id()
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "files": revision_files(session, revision.id),
        "revision_id": revision.id,
        "day_id": revision.day_id,
        "known_noise": known_noise_file(archive, revision.day_id).exists(),
    }
    add_job(session, REFIT_JOB, label, payload, job_id, lane=lane, day_id=revision.day_id, who=who)
    if lane == "quick" and payload["known_noise"]:
        early_id = new_job_id()
        known = str(known_noise_file(archive, revision.day_id))
        early = {**payload, "scratch": str(archive.incoming(early_id)), "known": known, "fit": job_id}
        add_job(session, EARLY_JOB, f"Early estimate: {label}", early, early_id, day_id=revision.day_id, who=who)
    return job_id


def known_noise_file(archive: Archive, day_id: int) -> Path:
    """Where the last fit of a day left what it knows of the day's noise, for early estimates; may be missing."""
    return archive.known / f"day {day_id}.json"
