"""What an edit of a pass would change: the day fitted with it, and nothing kept but the comparison, beside the job.

A preview is no result and no event. A newer one of the same run takes an older one's place.
"""

from __future__ import annotations

import logging
import shutil
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.jobs import JobKind, add_job, find_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.changes import edit_pass
from server.days.service import lay_out, revision_files
from server.days.tables import DayRevision
from server.errors import NotFoundError, StillairError
from server.figures.theme import SetupMark, setup_marks
from server.results.moved import moved
from server.results.moved_view import MovedRow, rows_between
from server.results.service import latest_result, summary_of
from server.results.summary import summarise
from server.testday.rounding import with_uncertainty
from server.testday.values import PassEdit

PREVIEW_JOB = "preview-edit"
REPLACED = "a newer preview of this run took its place"
NO_FIT = "The day cannot be fitted with these edges: the car does not coast all the way between them. Move them closer."
READ_SHARE = 0.15


@dataclass(frozen=True, slots=True)
class PassMove:
    """An edit of a pass: of which run, what the pass was [start, end], and what it would be."""

    run: int
    was: tuple[float, float]
    edit: PassEdit


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """A setup's drag area as it stands and as it would be, each with its U95; u of both; empty where there is none."""

    setup: str
    mark: SetupMark
    before: str
    after: str
    u_before: str
    u_after: str


@dataclass(frozen=True, slots=True)
class PreviewView:
    """A preview as the page shows it. rows: all that would move; older: compared with a result of an older revision."""

    job_id: str
    state: str
    percent: int
    text: str
    error: str
    move: PassMove
    revision: int
    setups: tuple[BeforeAfter, ...]
    rows: tuple[MovedRow, ...]
    older: bool

    @property
    def open(self) -> bool:
        """Whether it is still on the way."""
        return self.state in ("queued", "running")

    @property
    def span(self) -> str:
        """The stretch as it would be."""
        return f"{self.move.edit.start_s:.1f} to {self.move.edit.end_s:.1f} s"

    @property
    def sentence(self) -> str:
        """What would move, in one sentence."""
        changed = [one for one in self.setups if one.before != one.after]
        if changed:
            one = changed[0]
            return f"SCx of setup {one.setup} would go from {one.before or 'none'} to {one.after or 'none'}"
        if self.rows:
            return f"no drag area would move in a printed digit; {self.rows[0].quantity} of {self.rows[0].setup} would"
        return "nothing would move in any printed digit"


def queue_preview(archive: Archive, session: Session, revision: DayRevision, move: PassMove, who: str) -> str:
    """Queue a preview of an edit of this revision; older ones of the run give way. Gives the job."""
    _drop_older(session, revision.day_id, move.run)
    job_id = new_job_id()
    payload = {
        "job_id": job_id,
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "files": revision_files(session, revision.id),
        "day_id": revision.day_id,
        "revision": revision.number,
        "revision_id": revision.id,
        "run": move.run,
        "was": list(move.was),
        "edit": asdict(move.edit),
    }
    label = f"preview of run {move.run}, {move.edit.start_s:.1f} to {move.edit.end_s:.1f} s"
    add_job(session, PREVIEW_JOB, label, payload, job_id, day_id=revision.day_id, who=who)
    return job_id


def _drop_older(session: Session, day_id: int, run: int) -> None:
    waiting = select(Job).where(
        Job.kind == PREVIEW_JOB, Job.day_id == day_id, Job.state.in_(("queued", "running"))
    )
    for job in session.scalars(waiting):
        if job.payload["run"] == run:
            job.state, job.error, job.finished_at = "cancelled", REPLACED, now_utc()


def preview_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: the day fitted with the edit; gives the summary of that."""
    progress(0.01, "starting")
    from server.analysis.day_fit import fit_day
    from server.readers.load_day import load_day

    folder = Path(payload["scratch"]) / "day"
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    raw = open_raw(payload["raw"])
    for path, sha256 in payload["files"].items():
        lay_out(raw, sha256, folder / path)
    progress(0.02, "reading the day")
    move = _move(payload)
    day = edit_pass(load_day(folder), move.run, move.edit, move.was).day
    progress(READ_SHARE, "fitting")
    try:
        result = fit_day(day, progress=lambda f, text: progress(READ_SHARE + (0.99 - READ_SHARE) * f, text))
    except (ValueError, ArithmeticError) as fault:  # edges may be put where no model of coasting holds
        logging.getLogger(__name__).warning("a preview could not be fitted: %s", fault)
        raise StillairError(NO_FIT) from fault
    return {"summary": summarise(result)}


def keep_preview(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: the comparison with the newest result beside the job; gives the day's number."""
    job, latest = find_job(session, payload["job_id"]), latest_result(session, payload["day_id"])
    told: dict[str, Any] = {"after": outcome["summary"], "before": None, "older": False}
    if latest is not None:
        told["before"] = summary_of(archive, latest)
        told["older"] = latest.revision_id != payload["revision_id"]
    job.payload = {**payload, "outcome": told}
    return str(payload["day_id"])


PREVIEW_KINDS = {PREVIEW_JOB: JobKind(preview_work, keep_preview)}


def preview_view(session: Session, day_id: int, run: int, job_id: str) -> PreviewView:
    """A preview of a run as it stands. Raises NotFoundError."""
    job = find_job(session, job_id)
    if job.kind != PREVIEW_JOB or (job.day_id, job.payload["run"]) != (day_id, run):
        raise NotFoundError("No preview of this run goes by that address.")
    told = job.payload.get("outcome") or {"before": None, "after": None, "older": False}
    before, after = told["before"] or {"setups": []}, told["after"] or {"setups": []}
    return PreviewView(
        job_id=job.id,
        state=job.state,
        percent=round(100 * job.fraction),
        text=job.text,
        error=job.error or "",
        move=_move(job.payload),
        revision=job.payload["revision"],
        setups=_setups(before, after),
        rows=rows_between(before, after, moved(before, after)) if told["after"] else (),
        older=told["older"],
    )


def _move(payload: Mapping[str, Any]) -> PassMove:
    was = payload["was"]
    return PassMove(payload["run"], (was[0], was[1]), PassEdit(**payload["edit"]))


def _setups(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[BeforeAfter, ...]:
    was, now = ({one["setup"]: one["estimates"].get("SCx") for one in each["setups"]} for each in (before, after))
    names = list(dict.fromkeys([*now, *was]))
    marks = setup_marks(names)
    sides = ((name, marks[name], was.get(name), now.get(name)) for name in names)
    return tuple(BeforeAfter(name, mark, _value(a), _value(b), _u(a), _u(b)) for name, mark, a, b in sides)


def _value(scx: Mapping[str, Any] | None) -> str:
    return with_uncertainty(scx["value"], 0.5 * (scx["high95"] - scx["low95"]), scx["unit"]) if scx else ""


def _u(scx: Mapping[str, Any] | None) -> str:
    return f"{scx['u']:.2g}" if scx else ""
