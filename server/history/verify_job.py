"""The check of the whole archive as a job; what it found is kept and can be shown later."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.events import head, record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event
from server.archive.worker import Payload, Progress
from server.days.job_view import VERIFY_JOB
from server.errors import NotFoundError
from server.history.verify import counted, faults

VERIFIED = "archive-verified"
LANE = "long"
REPORT_FILE = "report.json"


@dataclass(frozen=True, slots=True)
class KeptReport:
    """What a check found. head: number and SHA-256 of the newest event at that moment."""

    number: int
    who: str
    at: str
    version: str
    looked_at: str
    head: tuple[int, str]
    faults: tuple[str, ...]


def queue_verify(archive: Archive, session: Session, who: str) -> str:
    """Queue the check; gives the job."""
    job_id = new_job_id()
    payload = {"scratch": str(archive.incoming(job_id)), "archive": str(archive.folder), "who": who}
    add_job(session, VERIFY_JOB, "check of the archive", payload, job_id, lane=LANE, who=who)
    return job_id


def verify_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: look at everything as it stood at one moment; the report is left in scratch."""
    archive = ReadOnlyArchive(Path(payload["archive"]))
    try:
        found = list(faults(archive, progress))
        with archive.database.reading() as session:
            report = {"version": __version__, "looked_at": counted(session), "head": head(session), "faults": found}
    finally:
        archive.close()
    (Path(payload["scratch"]) / REPORT_FILE).write_text(json.dumps(report, ensure_ascii=False), "utf-8")
    return {"faults": len(found)}


def keep_report(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: keep the report as a raw file, with its event; gives the event's number."""
    raw = archive.raw.add(session, Path(payload["scratch"]) / REPORT_FILE)
    after = {"report": raw.sha256, "faults": outcome["faults"]}
    return str(record(session, who=payload["who"], kind=VERIFIED, subject="the archive", after=after).id)


VERIFY_KINDS = {VERIFY_JOB: JobKind(verify_work, keep_report)}


def find_report(archive: Archive, session: Session, number: int) -> KeptReport:
    """What a check found, by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or event.kind != VERIFIED:
        raise NotFoundError(f"There is no check of the archive under the number {number}.")
    report = json.loads(archive.raw.path(json.loads(event.after or "{}")["report"]).read_text("utf-8"))
    return KeptReport(
        number=event.id,
        who=event.who,
        at=event.at,
        version=report["version"],
        looked_at=report["looked_at"],
        head=(report["head"][0], report["head"][1]),
        faults=tuple(report["faults"]),
    )
