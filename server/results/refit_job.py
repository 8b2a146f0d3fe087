"""Days fitted again with the program as it is: one, or a season of them, of which one failing stops no other.

A day that was done is left in the job's folder, so that a season goes on where a stopped server left it.
"""

from __future__ import annotations

import json
import logging
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.disk import disk_in_words
from server.archive.events import record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.tables import Event
from server.archive.worker import MISTAKE, Payload, Progress
from server.days.job_view import SEASON_JOB
from server.days.revisions import newest_day, queue_refit
from server.days.service import find_day, list_days, newest_revision, revision_files
from server.days.tables import DayRevision, StoredDay
from server.errors import DiskFullError, NotFoundError, StillairError, StoreError
from server.heavy.pool import Here, pool_or
from server.results.long_work import Pace, laid_out, raw_there, room_there, stand_back
from server.results.service import Told, keep_result, latest_result, told_by, write_result

SEASON_REFITTED = "season-refitted"
LANE = "long"
AGAIN = "fitted again"
REPORT_FILE = "report.json"
READ_SHARE = 0.15
NO_DAYS = "No test day is of that year and that car, so there is nothing to fit again."
GONE_ON = "The day was changed while it was fitted; its own fit stands."


@dataclass(frozen=True, slots=True)
class KeptRefit:
    """A season that was fitted again. days: one object a day, with what became of it."""

    number: int
    who: str
    at: str
    version: str
    scope: str
    days: tuple[dict[str, Any], ...]


def queue_fit_again(archive: Archive, session: Session, day_id: int, who: str) -> str:
    """Queue the fit of a day as it stands; gives the job. Raises NotFoundError."""
    day = find_day(session, day_id)
    return queue_refit(archive, session, newest_revision(session, day_id), f"{day.name}, {AGAIN}", who)


def queue_season(archive: Archive, who: str, year: int | None = None, car: str = "") -> str:
    """Queue the fit of all days, or of those of a year and a car; gives the job. Raises StillairError for none."""
    with archive.database.reading() as session:
        days = [_day(session, day) for day in chosen_days(archive, session, year, car)]
    if not days:
        raise StillairError(NO_DAYS)
    job_id, scope = new_job_id(), ", ".join([str(year)] * (year is not None) + [car] * bool(car)) or "all days"
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "days": days,
        "scope": scope,
        "who": who,
    }
    count = f"{len(days)} day{'' if len(days) == 1 else 's'}"
    with archive.database.writing() as session:
        add_job(session, SEASON_JOB, f"{count} fitted again ({scope})", payload, job_id, lane=LANE, who=who)
    return job_id


def chosen_days(archive: Archive, session: Session, year: int | None, car: str) -> list[StoredDay]:
    """The days of a year (None: any) and of a car (empty: any), the latest first."""
    days = [day for day in list_days(session) if year is None or (day.date and day.date.year == year)]
    return [day for day in days if not car or _car_of(archive, session, day.id) == car]


def _car_of(archive: Archive, session: Session, day_id: int) -> str | None:
    """The car's name; None for a day that can't be read."""
    try:
        return newest_day(archive, session, day_id)[1].car.name
    except StillairError:
        return None


def _day(session: Session, day: StoredDay) -> dict[str, Any]:
    revision = newest_revision(session, day.id)
    files = revision_files(session, revision.id)
    return {"day_id": day.id, "name": day.name, "revision_id": revision.id, "revision": revision.number, "files": files}


def season_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: each day read and fitted, its result left in scratch; gives why some have none."""
    progress(0.0, "starting")
    stand_back()
    days, scratch = payload["days"], Path(payload["scratch"])
    waiting = [day for day in days if not result_file(scratch, day).is_file()]
    done, pace = len(days) - len(waiting), Pace(len(days), len(days) - len(waiting))
    tasks = [{**day, "raw": payload["raw"], "scratch": payload["scratch"]} for day in waiting]

    def say(part: float, words: str) -> None:
        progress(0.99 * part / len(days), "; ".join(filter(None, (words, pace.left(part)))))

    def said(place: int, part: float, text: str) -> None:
        say(done + place + part, f"{done + place + 1:,} of {len(days):,} days, {waiting[place]['name']}: {text}")

    failed: dict[str, str] = {}
    for count, (place, (sentence, content)) in enumerate(pool_or(Here()).each(fit_task, tasks, said), done + 1):
        if sentence:
            failed[str(waiting[place]["day_id"])] = sentence
        else:
            with disk_in_words():
                (scratch / "part.zip").write_bytes(content)
                os.replace(scratch / "part.zip", result_file(scratch, waiting[place]))
        say(count, f"{count:,} of {len(days):,} days")
    left = {str(day["day_id"]): result_file(scratch, day) for day in days}
    told = {day_id: asdict(told_by(file)) for day_id, file in left.items() if file.is_file()}
    return {"failed": failed, "told": told}


def result_file(scratch: Path, day: dict[str, Any]) -> Path:
    """Where the result of a day is left: by revision and by the program that made it."""
    return scratch / f"{day['revision_id']} by {__version__}.zip"


def fit_task(task: dict[str, Any], progress: Progress) -> tuple[str, bytes]:
    """Fit one day, on whichever computer; gives why it could not be, or its result's bytes.

    Raises DiskFullError and StoreError: then no other can be, either.
    """
    try:
        with disk_in_words(), room_there(task["scratch"]) as room:
            fit_one(laid_out(raw_there(task["raw"]), task["files"], room / "day"), room / "part.zip", progress)
            return "", (room / "part.zip").read_bytes()
    except (DiskFullError, StoreError):
        raise
    except StillairError as refusal:
        return str(refusal), b""
    except Exception:  # one day must not stop the others; the log says which and where
        logging.getLogger(__name__).exception("day %s could not be fitted again", task["day_id"])
        return MISTAKE, b""


def fit_one(folder: Path, target: Path, progress: Progress) -> None:
    """Read and fit a day's folder and write its result."""
    from server.analysis.day_fit import fit_day
    from server.readers.load_day import load_day

    progress(0.0, "reading")
    day = load_day(folder)
    result = fit_day(day, progress=lambda f, text: progress(READ_SHARE + (1.0 - READ_SHARE) * f, text))
    write_result(result, target)


def keep_season(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: keep each result whose day has not gone on, and a report; gives the event's number."""
    scratch = Path(payload["scratch"])
    told = [_keep(archive, session, day, scratch, outcome) for day in payload["days"]]
    report = {"version": __version__, "scope": payload["scope"], "days": told}
    (scratch / REPORT_FILE).write_text(json.dumps(report, ensure_ascii=False, allow_nan=False), "utf-8")
    raw = archive.raw.add(session, scratch / REPORT_FILE)
    states = [one["state"] for one in told]
    counts = {state: states.count(state) for state in ("kept", "same", "changed", "failed")}
    after = {"report": raw.sha256, **counts}
    event = record(session, who=payload["who"], kind=SEASON_REFITTED, subject=payload["scope"], after=after)
    return str(event.id)


def _keep(
    archive: Archive, session: Session, day: dict[str, Any], scratch: Path, outcome: Payload
) -> dict[str, Any]:
    """kept: a new result; same: to the last byte the one that stood; changed: by somebody meanwhile; failed."""
    key = str(day["day_id"])
    problem, read = outcome["failed"].get(key), outcome["told"].get(key)
    told = {name: day[name] for name in ("day_id", "name", "revision")}
    if problem is not None:
        return {**told, "state": "failed", "sentence": problem}
    revision = session.get_one(DayRevision, day["revision_id"])
    if newest_revision(session, day["day_id"]).id != revision.id:
        return {**told, "state": "changed", "sentence": GONE_ON}
    before = latest_result(session, day["day_id"])
    row = keep_result(archive, session, revision, result_file(scratch, day), told=Told(**read))
    old = before.id if before else None
    if old == row.id:
        return {**told, "state": "same", "result": row.id}
    return {**told, "state": "kept", "result": row.id, "old": old, "moved": row.moved}


def season_results(payload: Payload, _: Payload) -> list[Path]:
    """The results that keeping a season keeps."""
    files = (result_file(Path(payload["scratch"]), day) for day in payload["days"])
    return [file for file in files if file.is_file()]


SEASON_KINDS = {SEASON_JOB: JobKind(season_work, keep_season, keeps=season_results)}


def find_refit(archive: Archive, session: Session, number: int) -> KeptRefit:
    """What became of a season, by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or event.kind != SEASON_REFITTED:
        raise NotFoundError(f"No season was fitted again under the number {number}.")
    sha256 = json.loads(event.after or "{}")["report"]
    report = json.loads(archive.raw.path(sha256).read_text("utf-8"))
    return KeptRefit(event.id, event.who, event.at, report["version"], report["scope"], tuple(report["days"]))
