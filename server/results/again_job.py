"""A result fitted again as then: from the files, options and seed that were kept; are the numbers the same?

What comes of it is a file that never changes, named by an event. The result itself stands as it was.
"""

from __future__ import annotations

import json
import logging
import shutil
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.archive.events import record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.raw_files import RawStore
from server.archive.store_address import open_raw
from server.archive.tables import Event
from server.archive.worker import Payload, Progress
from server.days.job_view import AGAIN_JOB
from server.days.service import find_day, revision_files
from server.days.tables import DayRevision
from server.errors import NotFoundError, StillairError
from server.results.again_changes import changed_files, changed_program, changed_result
from server.results.again_numbers import compare_results
from server.results.codec import result_from_bytes
from server.results.long_work import laid_out
from server.results.service import find_result
from server.results.tables import FittedResult

FITTED_AGAIN = "result-fitted-again"
REPORT_FILE = "again.json"
FORMAT, MOST_SHOWN, READ_SHARE = 1, 400, 0.15
UNREADABLE = "The kept result cannot be read any more, so there is nothing to hold the new fit against."

ALTERED = "The files that were altered can't be fitted any more."


@dataclass(frozen=True, slots=True)
class KeptAgain:
    """A result that was fitted again. number: of its event; report: what was found, as `again_report` has it."""

    number: int
    day_id: int
    result_id: int
    who: str
    at: str
    sha256: str
    report: dict[str, Any]


def queue_again(archive: Archive, session: Session, day_id: int, result_id: int, who: str) -> str:
    """Queue it; gives the job. Raises NotFoundError."""
    day, row = find_day(session, day_id), find_result(session, day_id, result_id)
    job_id = new_job_id()
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "who": who,
        "one": again_payload(session, row),
    }
    label = f"{day.name}: result {row.id} fitted again as then"
    add_job(session, AGAIN_JOB, label, payload, job_id, day_id=day_id, who=who)
    return job_id


def again_payload(session: Session, row: FittedResult) -> dict[str, Any]:
    """What the work needs of a result."""
    return {
        "day_id": row.day_id,
        "day": find_day(session, row.day_id).name,
        "result_id": row.id,
        "sha256": row.sha256,
        "revision": session.get_one(DayRevision, row.revision_id).number,
        "made_at": row.made_at.isoformat(timespec="seconds"),
        "files": revision_files(session, row.revision_id),
    }


def again_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: fit it, hold it against what was kept; the report is left in scratch."""
    progress(0.0, "starting")
    scratch = Path(payload["scratch"])
    report = again_report(open_raw(payload["raw"]), payload["one"], scratch / "day", progress)
    write_report(report, scratch / REPORT_FILE)
    return {}


def write_report(report: Mapping[str, Any], file: Path) -> None:
    """Write what was found."""
    file.write_text(json.dumps(report, ensure_ascii=False, allow_nan=False, sort_keys=True), "utf-8")


def again_report(raw: RawStore, one: Mapping[str, Any], folder: Path, progress: Progress) -> dict[str, Any]:
    """What comes of fitting a result again from what was kept with it; one sentence where it cannot be fitted.

    outcome: same (to the last printed digit), differs, or lost.
    """
    told = {name: one[name] for name in ("day_id", "day", "result_id", "sha256", "revision", "made_at")}
    changes = [*changed_files(raw, one["files"]), *changed_result(raw, one["sha256"])]
    report: dict[str, Any] = {"format": FORMAT, **told}
    then = _kept_result(raw, one["sha256"])
    if then is None:
        return {**report, "outcome": "lost", "sentence": UNREADABLE, "changes": [asdict(each) for each in changes]}
    changes += changed_program(then)
    report |= {"then": dict(then.made_with), "options": dict(then.options)}
    report["changes"] = [asdict(each) for each in changes]
    try:
        now = fitted_as_then(raw, one["files"], then, folder, progress)
    except StillairError as refusal:
        return {**report, "outcome": "lost", "sentence": str(refusal)}
    except Exception:
        if not any(each.kind == "file" for each in changes):
            raise
        logging.getLogger(__name__).exception("result %s could not be fitted from files that were altered", told)
        return {**report, "outcome": "lost", "sentence": ALTERED}
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return {**report, "now": dict(now.made_with), **_found(then, now)}


def _found(then: DayResult, now: DayResult) -> dict[str, Any]:
    found = compare_results(then, now)
    shown = [{**asdict(one), "size": min(one.size, 1e300)} for one in found.moved[:MOST_SHOWN]]
    return {
        "outcome": "same" if found.printed_alike else "differs",
        "identical": found.identical,
        "compared": found.compared,
        "moved": len(found.moved),
        "hidden": found.hidden,
        "largest_hidden": min(found.largest_hidden, 1e300),
        "added": list(found.added),
        "shown": shown,
    }


def _kept_result(raw: RawStore, sha256: str) -> DayResult | None:
    """None where its file is gone or cannot be read."""
    import zipfile
    import zlib

    try:
        return result_from_bytes(raw.path(sha256).read_bytes())
    except (NotFoundError, OSError, ValueError, LookupError, TypeError, zipfile.BadZipFile, zlib.error):
        return None


def fitted_as_then(
    raw: RawStore, files: Mapping[str, str], then: DayResult, folder: Path, progress: Progress
) -> DayResult:
    """The revision's files fitted with the options and the seed that the result was made with."""
    from server.analysis.day_fit import fit_day
    from server.analysis.fit_options import options_from
    from server.readers.load_day import load_day

    progress(0.02, "reading")
    day = load_day(laid_out(raw, files, folder))
    options, _ = options_from(then.options)
    return fit_day(day, options, lambda part, text: progress(READ_SHARE + (0.98 - READ_SHARE) * part, text))


def keep_again(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: keep what was found, with its event; gives the event's number."""
    return str(keep_report(archive, session, Path(payload["scratch"]) / REPORT_FILE, payload["who"]))


def keep_report(archive: Archive, session: Session, file: Path, who: str) -> int:
    """Keep a written report; gives the number of its event."""
    report = json.loads(file.read_text("utf-8"))
    raw = archive.raw.add(session, file)
    after = {"result": report["result_id"], "outcome": report["outcome"], "report": raw.sha256}
    subject = f"result {report['result_id']}"
    event = record(session, who=who, kind=FITTED_AGAIN, day_id=report["day_id"], subject=subject, after=after)
    return event.id


def find_again(archive: Archive, session: Session, day_id: int, number: int) -> KeptAgain:
    """What came of it, by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or (event.kind, event.day_id) != (FITTED_AGAIN, day_id):
        raise NotFoundError(f"Test day number {day_id} has no result that was fitted again under the number {number}.")
    return _kept(archive, event)


def newest_again(session: Session, day_id: int, result_id: int) -> Event | None:
    """The newest event of a result that was fitted again as then."""
    chosen = select(Event).where(Event.kind == FITTED_AGAIN, Event.day_id == day_id)
    told = Event.after.contains(f'"result":{result_id}}}', autoescape=True)
    return session.scalar(chosen.where(told).order_by(Event.id.desc()).limit(1))


def _kept(archive: Archive, event: Event) -> KeptAgain:
    after = json.loads(event.after or "{}")
    report = json.loads(archive.raw.path(after["report"]).read_text("utf-8"))
    return KeptAgain(
        event.id, event.day_id or 0, after["result"], event.who, event.at, after["report"], report
    )


AGAIN_KINDS = {AGAIN_JOB: JobKind(again_work, keep_again)}
