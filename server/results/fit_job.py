"""The job that makes a day of what was sent: unpack, read, fit, keep; or one sentence and nothing kept."""

from __future__ import annotations

import datetime as dt
import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.events import PROGRAM, record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.worker import Payload, Progress
from server.days.column_choices import TAKEN_OVER_EVENT, choices
from server.days.job_view import EARLY
from server.days.revisions import known_noise_file
from server.days.service import (
    FIT_JOB,
    REFIT_JOB,
    IncomingDay,
    add_revision,
    content_sha256,
    find_day,
    folder_files,
    keep_day,
    lay_out,
    newest_revision,
    revision_files,
)
from server.days.tables import DayRevision, StoredDay
from server.results.early_setups import early_setups
from server.results.service import keep_result, latest_result, write_result
from server.testday.folder import read_folder, write_folder
from server.testday.values import Day

if TYPE_CHECKING:
    from server.analysis.day_fit import ReadyDay
    from server.analysis.day_posterior import DayPosterior
    from server.analysis.day_solve import Rough

RESULT_FILE = "result.zip"
KNOWN_FILE = "known.json"  # what the fit knows of the noise, beside its result
TAKEN_OVER = "taken-over"
READ_SHARE, EARLY_SHARE = 0.15, 0.5


def fit_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: payload names `scratch` and either `zip` or `folder`; the result is left in scratch.

    A day whose noise is not known from a fit before gets its early estimate on the way; others have theirs by then.
    """
    progress(0.01, "starting")
    from server.analysis.day_fit import fit_day
    from server.readers.load_day import load_day

    scratch = Path(payload["scratch"])
    progress(0.02, "reading the day")
    folder = day_folder(payload)
    day = load_day(folder, payload.get("choices"))
    taken = write_taken_over(folder, day, scratch / TAKEN_OVER) if payload.get("choices") else {}
    progress(READ_SHARE, "fitting")
    result = fit_day(
        day,
        progress=lambda f, text: progress(READ_SHARE + (0.99 - READ_SHARE) * f, text),
        known=lambda posterior: write_known(posterior, scratch / KNOWN_FILE),
        rough=None if payload.get("known_noise") else _early_teller(progress),
    )
    write_result(result, scratch / RESULT_FILE)
    date = day.date.isoformat() if day.date else None
    return {"folder": str(folder), "name": day.name, "date": date, "taken": taken}


def _early_teller(progress: Progress) -> Callable[[ReadyDay, Rough], None]:
    def tell(made: ReadyDay, rough: Rough) -> None:
        from server.analysis.early_fit import early_of_fit

        early = early_setups(early_of_fit(made, rough))
        progress(EARLY_SHARE, "fitting", {EARLY: early} if early else None)

    return tell


def write_known(posterior: DayPosterior, file: Path) -> None:
    """Write what a fit knows of its day's noise."""
    from server.analysis.early_estimate import known_noise

    file.write_text(json.dumps({"version": __version__, **known_noise(posterior).as_json()}))


def keep_known(archive: Archive, payload: Payload, day_id: int) -> None:
    """Put it where early estimates of the day look for it."""
    written = Path(payload["scratch"]) / KNOWN_FILE
    if written.exists():
        written.replace(known_noise_file(archive, day_id))


def write_taken_over(folder: Path, joined: Day, target: Path) -> dict[str, dict[str, str]]:
    """Write the day with the roles that were taken over from earlier days; run → role → column, empty for none."""
    stated = read_folder(folder)
    own = {run.number: run.channels for run in stated.runs}
    taken = {
        run.number: {role: column for role, column in run.channels.items() if own[run.number].get(role) != column}
        for run in joined.runs
    }
    taken = {number: words for number, words in taken.items() if words}
    if taken:
        channels = {run.number: run.channels for run in joined.runs}
        runs = tuple(replace(run, channels=channels[run.number]) for run in stated.runs)
        shutil.rmtree(target, ignore_errors=True)  # of a start that was interrupted
        write_folder(replace(stated, runs=runs), target)
    return {str(number): words for number, words in taken.items()}


def day_folder(payload: Payload) -> Path:
    """The folder to read: the one named, or the one in the zip that was sent."""
    if "folder" in payload:
        return Path(payload["folder"])
    from server.readers.zip_folder import unpack_day_zip

    unpacked = Path(payload["scratch"]) / "unpacked"
    shutil.rmtree(unpacked, ignore_errors=True)  # of a start that was interrupted
    return unpack_day_zip(Path(payload["zip"]), unpacked)


def keep_fitted_day(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: keep the day, its files and its result together; gives the day's number."""
    date = dt.date.fromisoformat(outcome["date"]) if outcome["date"] else None
    upload = Path(payload["zip"]) if "zip" in payload else None
    incoming = IncomingDay(outcome["name"], date, Path(outcome["folder"]), payload["sent_as"], upload)
    day = keep_day(archive, session, incoming, payload.get("who", ""))
    revision = newest_revision(session, day.id)
    if revision.content_sha256 == day.content_sha256:  # else the day has gone on since this folder first came
        if outcome.get("taken"):
            written = dict(folder_files(Path(payload["scratch"]) / TAKEN_OVER))
            revision = keep_taken_over(archive, session, revision, outcome["taken"], written)
        keep_result(archive, session, revision, Path(payload["scratch"]) / RESULT_FILE)
        keep_known(archive, payload, day.id)
    return str(day.id)


def keep_taken_over(
    archive: Archive,
    session: Session,
    first: DayRevision,
    taken: Mapping[str, Mapping[str, str]],
    written: Mapping[str, Path],
) -> DayRevision:
    """The revision in which the roles taken over stand written, so that the folder alone gives the result again."""
    added = {path: archive.raw.add(session, file).sha256 for path, file in written.items()}
    files = {**revision_files(session, first.id), **added}
    columns = sorted({column for words in taken.values() for column in words.values()})
    what = f"roles of columns as on earlier days: {', '.join(columns)}"
    revision = add_revision(session, find_day(session, first.day_id), files, PROGRAM, what)
    after = {"revision": revision.number, "content_sha256": revision.content_sha256, "value": taken}
    record(session, who=PROGRAM, kind=TAKEN_OVER_EVENT, day_id=first.day_id, subject="columns", after=after)
    return revision


def refit_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: lay the revision's files out and fit them; the result is left in scratch."""
    told = {"scratch": payload["scratch"], "known_noise": payload.get("known_noise", False)}
    return fit_work({**told, "folder": str(laid_out(payload))}, progress)


def laid_out(payload: Payload) -> Path:
    """The revision's files in a folder of the job's scratch."""
    folder = Path(payload["scratch"]) / "day"
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    raw = open_raw(payload["raw"])
    for path, sha256 in payload["files"].items():
        lay_out(raw, sha256, folder / path)
    return folder


def keep_refitted(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: keep the result of a revision, the one before it superseded; gives the day's number."""
    revision = session.get_one(DayRevision, payload["revision_id"])
    keep_result(archive, session, revision, Path(payload["scratch"]) / RESULT_FILE)
    keep_known(archive, payload, revision.day_id)
    return str(revision.day_id)


def files_of_day(payload: Payload, outcome: Payload) -> list[Path]:
    """What keeping a day keeps: its files, the zip it came in, its result."""
    upload = [Path(payload["zip"])] if "zip" in payload else []
    files = [file for _, file in folder_files(Path(outcome["folder"]))]
    return [*files, *upload, Path(payload["scratch"]) / RESULT_FILE]


def result_alone(payload: Payload, _: Payload) -> list[Path]:
    """What keeping the result of a revision keeps."""
    return [Path(payload["scratch"]) / RESULT_FILE]


FIT_DAY = JobKind(fit_work, keep_fitted_day, keeps=files_of_day)
REFIT_DAY = JobKind(refit_work, keep_refitted, keeps=result_alone)
FIT_KINDS = {FIT_JOB: FIT_DAY, REFIT_JOB: REFIT_DAY}


def queue_folder(archive: Archive, folder: Path) -> str | None:
    """Queue a test-day folder of this computer; gives the job, or None when this version fitted it before."""
    content = content_sha256(folder)
    with archive.database.reading() as session:
        day = session.scalar(select(StoredDay).where(StoredDay.content_sha256 == content))
        result = latest_result(session, day.id) if day else None
        if result is not None and result.version == __version__:
            return None
    return _add(archive, folder)


def _add(archive: Archive, folder: Path) -> str:
    job_id = new_job_id()
    payload: Payload = {
        "scratch": str(archive.incoming(job_id)),
        "folder": str(folder.resolve()),
        "sent_as": folder.name,
    }
    with archive.database.writing() as session:
        payload["choices"] = choices(session)
        add_job(session, FIT_JOB, folder.name, payload, job_id)
    return job_id
