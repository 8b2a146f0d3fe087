"""The newest results of a season fitted again as then, one after the other; one that cannot be fitted stops no other.

What was found of a result is left in the job's folder, so that a season goes on where a stopped server left it.
"""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
from server.days.job_view import AGAIN_SEASON_JOB
from server.errors import DiskFullError, NotFoundError, StillairError, StoreError
from server.heavy.pool import Here, pool_or
from server.results.again_job import FORMAT, again_payload, again_report, keep_report, write_report
from server.results.long_work import Pace, raw_there, room_there, stand_back
from server.results.refit_job import chosen_days
from server.results.service import latest_results

SEASON_AGAIN = "season-fitted-again"
LANE, REPORT_FILE = "long", "season.json"
NO_RESULTS = "No test day of that year and that car has a result, so there is nothing to fit again."


@dataclass(frozen=True, slots=True)
class KeptSeasonAgain:
    """A season of results that were fitted again. results: one object a result, with the number of its own event."""

    number: int
    who: str
    at: str
    version: str
    scope: str
    results: tuple[dict[str, Any], ...]


def results_to_fit(archive: Archive, session: Session, year: int | None, car: str) -> list[dict[str, Any]]:
    """What the work needs of the newest result of each day of a year and a car. Raises StillairError for none."""
    newest = latest_results(session)
    days = [day for day in chosen_days(archive, session, year, car) if day.id in newest]
    if not days:
        raise StillairError(NO_RESULTS)
    return [again_payload(session, newest[day.id]) for day in days]


def queue_season_again(archive: Archive, who: str, year: int | None = None, car: str = "") -> str:
    """Queue it; gives the job. Raises StillairError where nothing is chosen."""
    with archive.database.reading() as session:
        results = results_to_fit(archive, session, year, car)
    job_id, scope = new_job_id(), scope_words(year, car)
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "results": results,
        "scope": scope,
        "who": who,
    }
    count = f"{len(results)} result{'' if len(results) == 1 else 's'}"
    with archive.database.writing() as session:
        label = f"{count} fitted again as then ({scope})"
        add_job(session, AGAIN_SEASON_JOB, label, payload, job_id, lane=LANE, who=who)
    return job_id


def scope_words(year: int | None, car: str) -> str:
    """Which days, in words."""
    return ", ".join([str(year)] * (year is not None) + [car] * bool(car)) or "all days"


def season_again_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: each result fitted again, its report left in scratch."""
    progress(0.0, "starting")
    stand_back()
    fit_each(payload["results"], payload["raw"], Path(payload["scratch"]), progress)
    return {}


def fit_each(
    results: Sequence[dict[str, Any]], raw: Any, scratch: Path, progress: Progress,
    told: Callable[[dict[str, Any]], None] = lambda _report: None,
) -> None:  # fmt: skip
    """Each result's report, written as soon as it is there; earlier ones stay. raw: a store's `address`."""
    waiting = [one for one in results if not report_file(scratch, one).is_file()]
    done = len(results) - len(waiting)
    pace = Pace(len(results), done)
    tasks = [{"one": one, "raw": raw, "scratch": str(scratch)} for one in waiting]

    def say(part: float, words: str) -> None:
        progress(0.99 * part / len(results), "; ".join(filter(None, (words, pace.left(part)))))

    def said(place: int, part: float, text: str) -> None:
        say(done + place + part, f"{done + place + 1:,} of {len(results):,} results, {waiting[place]['day']}: {text}")

    for count, (place, report) in enumerate(pool_or(Here()).each(again_task, tasks, said), done + 1):
        part = scratch / "part.json"
        with disk_in_words():
            write_report(report, part)
            os.replace(part, report_file(scratch, waiting[place]))
        told(report)
        say(count, f"{count:,} of {len(results):,} results")


def report_file(scratch: Path, one: dict[str, Any]) -> Path:
    """Where the report of a result is left: by result and by the program that made it."""
    return scratch / f"result {one['result_id']} by {__version__}.json"


def again_task(task: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """The report of one result, made on whichever computer. Raises DiskFullError and StoreError."""
    one = task["one"]
    try:
        with disk_in_words(), room_there(task["scratch"]) as room:
            return again_report(raw_there(task["raw"]), one, room / "day", progress)
    except (DiskFullError, StoreError):
        raise
    except Exception:  # one result must not stop the others; the log says which and where
        logging.getLogger(__name__).exception("result %s could not be fitted again", one["result_id"])
        told = {name: value for name, value in one.items() if name != "files"}
        return {"format": FORMAT, **told, "outcome": "lost", "sentence": MISTAKE, "changes": []}


def keep_season_again(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: each report with its event, and one for the season; gives that one's number."""
    scratch, told = Path(payload["scratch"]), []
    for one in payload["results"]:
        file = report_file(scratch, one)
        report = json.loads(file.read_text("utf-8"))
        number = keep_report(archive, session, file, payload["who"])
        told.append({**{name: report[name] for name in ("day_id", "day", "result_id", "outcome")}, "number": number})
    season = {"version": __version__, "scope": payload["scope"], "results": told}
    write_report(season, scratch / REPORT_FILE)
    raw = archive.raw.add(session, scratch / REPORT_FILE)
    outcomes = [one["outcome"] for one in told]
    after = {"report": raw.sha256, **{name: outcomes.count(name) for name in ("same", "differs", "lost")}}
    event = record(session, who=payload["who"], kind=SEASON_AGAIN, subject=payload["scope"], after=after)
    return str(event.id)


def find_season_again(archive: Archive, session: Session, number: int) -> KeptSeasonAgain:
    """What came of a season, by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or event.kind != SEASON_AGAIN:
        raise NotFoundError(f"No season of results was fitted again under the number {number}.")
    report = json.loads(archive.raw.path(json.loads(event.after or "{}")["report"]).read_text("utf-8"))
    return KeptSeasonAgain(event.id, event.who, event.at, report["version"], report["scope"], tuple(report["results"]))


AGAIN_SEASON_KINDS = {AGAIN_SEASON_JOB: JobKind(season_again_work, keep_season_again)}
