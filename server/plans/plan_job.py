"""A day is planned: simulated and fitted as it would be; the plan is kept as a file that never changes."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.events import record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.tables import Event
from server.archive.worker import Payload, Progress
from server.days.job_view import PLAN_JOB
from server.days.service import find_day, revision_files
from server.errors import NotFoundError
from server.plans.asking import Asked, request_as_json, request_from_json
from server.results.codec import result_from_bytes
from server.results.long_work import laid_out
from server.results.service import latest_result

PLANNED = "day-planned"
PLAN_FILE = "plan.json"
FORMAT = 1
NOTHING_FITTED = "Test day number {day_id} has no result yet, so no day can be planned like it."


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan that was kept; number: that of its event."""

    number: int
    who: str
    at: str
    sha256: str
    content: dict[str, Any]


def queue_plan(archive: Archive, session: Session, asked: Asked, who: str) -> str:
    """Queue the simulation of a plan; gives the job. Raises NotFoundError for a day without a result."""
    job_id = new_job_id()
    payload: Payload = {"scratch": str(archive.incoming(job_id)), "raw": archive.raw.address, "who": who}
    payload |= {"asked": request_as_json(asked), "files": {}, "result": "", "like": ""}
    if asked.like_day_id is not None:
        day, row = find_day(session, asked.like_day_id), latest_result(session, asked.like_day_id)
        if row is None:
            raise NotFoundError(NOTHING_FITTED.format(day_id=asked.like_day_id))
        payload |= {"files": revision_files(session, row.revision_id), "result": row.sha256, "like": day.name}
    add_job(session, PLAN_JOB, asked.request.name, payload, job_id, who=who)
    return job_id


def plan_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: simulate days, find the passes; the plan is left in scratch."""
    progress(0.0, "starting")
    from server.analysis.day_request import (
        gust_costs,
        outings_of,
        request_plan,
        straight_check,
        timed,
        wind_costs,
    )
    from server.analysis.pass_planning import plan_passes
    from server.analysis.run_order import refills
    from server.readers.load_day import load_day

    scratch, raw, asked = Path(payload["scratch"]), open_raw(payload["raw"]), request_from_json(payload["asked"])
    like = None
    if payload["result"]:
        day = load_day(laid_out(raw, payload["files"], scratch / "day"))
        like = (day, result_from_bytes(raw.path(payload["result"]).read_bytes()))
    plan = request_plan(asked.request, like)
    found = plan_passes(plan, asked.request.baseline, asked.request.wanted, progress=progress)
    outings = outings_of(asked.request, found)
    clock = timed(plan, asked.request, outings)
    filled = refills(outings, asked.request.outing_pairs)
    kept = {
        "format": FORMAT,
        "version": __version__,
        "asked": payload["asked"],
        "like": payload["like"],
        "result": payload["result"],
        "gust_sd_mps": plan.wind.gust_sd_mps.value,
        "planning": asdict(found),
        "outings": [
            asdict(one) | {"start_s": at, "takes_s": takes, "refill": fill}
            for one, (at, takes), fill in zip(outings, clock, filled, strict=True)
        ],
        "straight": asdict(straight_check(plan, asked.request.length_m)),
        "gusts": [{"gust_sd_mps": gust, "pairs": pairs} for gust, pairs in gust_costs(plan, found)],
        "along_mps": plan.wind.head_out_mps.value,
        "cross_mps": plan.wind.cross_mps.value,
        "mean_winds": [
            {"along_mps": along, "pairs": pairs, "left_m": left}
            for along, pairs, left in wind_costs(plan, found, asked.request.length_m)
        ],
    }  # fmt: skip
    (scratch / PLAN_FILE).write_text(json.dumps(kept, ensure_ascii=False, allow_nan=False), "utf-8")
    return {}


def keep_plan(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: keep the plan as a raw file, with its event; gives the event's number."""
    raw = archive.raw.add(session, Path(payload["scratch"]) / PLAN_FILE)
    event = record(
        session,
        who=payload["who"],
        kind=PLANNED,
        subject=payload["asked"]["name"],
        after={"plan": raw.sha256, "asked": payload["asked"]},
    )
    return str(event.id)


PLAN_KINDS = {PLAN_JOB: JobKind(plan_work, keep_plan)}


def plans(archive: Archive, session: Session) -> list[KeptPlan]:
    """All plans, the newest first."""
    chosen = select(Event).where(Event.kind == PLANNED).order_by(Event.id.desc())
    return [_kept(archive, event) for event in session.scalars(chosen)]


def find_plan(archive: Archive, session: Session, number: int) -> KeptPlan:
    """A plan by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or event.kind != PLANNED:
        raise NotFoundError(f"There is no plan number {number}.")
    return _kept(archive, event)


def _kept(archive: Archive, event: Event) -> KeptPlan:
    after = json.loads(event.after or "{}")
    content = json.loads(archive.raw.path(after["plan"]).read_text("utf-8"))
    return KeptPlan(event.id, event.who, event.at, after["plan"], content)
