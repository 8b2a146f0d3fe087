"""Do the intervals of a day hold? Many made-up days like it, simulated and fitted; kept as a file that never changes.

A day that was done is written down beside the job, so that a study goes on where a stopped server left it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.events import record
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.tables import Event, Job
from server.archive.worker import Payload, Progress
from server.days.job_view import STUDY_JOB
from server.days.service import find_day, revision_files
from server.errors import NotFoundError, StillairError
from server.heavy.pool import Here, Pool, pool_or, unheard
from server.results.codec import result_from_bytes
from server.results.long_work import Pace, laid_out, stand_back
from server.results.service import latest_result

if TYPE_CHECKING:
    from server.analysis.simulate_plan import SimulationPlan
    from server.analysis.study import DayTrial

STUDIED = "day-studied"
LANE = "long"
USUAL_DAYS, MOST_DAYS = 100, 5000
SEED = 1  # a study that is repeated gives the same table
STUDY_FILE, TRIALS_FILE = "study.json", "trials.jsonl"
READ_SHARE = 0.01
NOTHING_FITTED = "Test day number {day_id} has no result yet, so there is nothing to make days like it from."

OneDay = Callable[["SimulationPlan", int], "DayTrial"]


@dataclass(frozen=True, slots=True)
class KeptStudy:
    """A study that was kept. number: that of its event; result_id: the result whose intervals it tried."""

    number: int
    day_id: int
    result_id: int
    who: str
    at: str
    sha256: str
    content: dict[str, Any]


def queue_study(archive: Archive, session: Session, day_id: int, days: int, who: str) -> str:
    """Queue a study of days like this one; gives the job. Raises NotFoundError for a day without a result."""
    day, row = find_day(session, day_id), latest_result(session, day_id)
    if row is None:
        raise NotFoundError(NOTHING_FITTED.format(day_id=day_id))
    job_id = new_job_id()
    payload = {
        "scratch": str(archive.incoming(job_id)),
        "raw": archive.raw.address,
        "files": revision_files(session, row.revision_id),
        "day_id": day_id,
        "result_id": row.id,
        "result": row.sha256,
        "days": days,
        "seed": SEED,
        "who": who,
    }
    label = f"study of {days:,} days like {day.name}"
    add_job(session, STUDY_JOB, label, payload, job_id, lane=LANE, day_id=day_id, who=who)
    return job_id


def study_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: simulate and fit one day after the other; the table is left in scratch."""
    progress(0.0, "starting")
    stand_back()
    from server.analysis.simulate_like import plan_or_refuse
    from server.analysis.study import fit_simulated_day, gathered, study_to_json
    from server.readers.load_day import load_day

    scratch, raw = Path(payload["scratch"]), open_raw(payload["raw"])
    progress(0.0, "reading the day")
    day = load_day(laid_out(raw, payload["files"], scratch / "day"))
    plan = plan_or_refuse(day, result_from_bytes(raw.path(payload["result"]).read_bytes()))
    trials = all_trials(plan, payload, scratch / TRIALS_FILE, progress, fit_simulated_day, pool=pool_or(Here()))
    study = {**study_to_json(gathered(plan, payload["seed"], trials)), "version": __version__}
    (scratch / STUDY_FILE).write_text(json.dumps(study, ensure_ascii=False, allow_nan=False), "utf-8")
    return {}


def all_trials(
    plan: SimulationPlan,
    payload: Payload,
    file: Path,
    progress: Progress,
    one_day: OneDay,
    *,
    pool: Pool | None = None,
) -> Sequence[DayTrial]:
    """The trial of every day; those that an earlier start did are read back from `file`."""
    from server.analysis.study import day_seeds

    done, total = {trial.seed: trial for trial in read_trials(file)}, payload["days"]
    pace, seeds = Pace(total, len(done)), day_seeds(payload["seed"], total)

    def say() -> None:
        words = ", ".join(filter(None, (f"{len(done):,} of {total:,} days", pace.left(len(done)))))
        progress(READ_SHARE + (0.99 - READ_SHARE) * len(done) / total, words)

    waiting = [seed for seed in seeds if seed not in done]
    with file.open("a", encoding="utf-8") as out:
        if waiting:
            say()
        for _, trial in (pool or Here()).each(partial(_one, one_day, plan), waiting, unheard):
            done[trial.seed] = trial
            out.write(json.dumps(asdict(trial)) + "\n")
            out.flush()
            if len(done) < total:
                say()
    return [done[seed] for seed in seeds]


def _one(one_day: OneDay, plan: SimulationPlan, seed: int, _: Progress) -> DayTrial:
    return one_day(plan, seed)


def read_trials(file: Path) -> list[DayTrial]:
    """The trials that were written whole; a line that was cut off is left out, and cut away."""
    from server.analysis.study import DayTrial, Trial

    if not file.is_file():
        return []
    text = file.read_text(encoding="utf-8")
    whole = text[: text.rfind("\n") + 1]
    file.write_text(whole, encoding="utf-8")
    lines = [json.loads(line) for line in whole.splitlines()]
    return [
        DayTrial(line["seed"], tuple(Trial(**one) for one in line["trials"]), tuple(line["stopped_by"]))
        for line in lines
    ]


def keep_study(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: keep the table as a raw file, with its event; gives the event's number."""
    raw = archive.raw.add(session, Path(payload["scratch"]) / STUDY_FILE)
    event = record(
        session,
        who=payload["who"],
        kind=STUDIED,
        day_id=payload["day_id"],
        subject=f"{payload['days']:,} days like this one",
        after={"study": raw.sha256, "result": payload["result_id"], "days": payload["days"], "seed": payload["seed"]},
    )
    return str(event.id)


def study_table(payload: Payload, _: Payload) -> list[Path]:
    """What keeping a study keeps."""
    return [Path(payload["scratch"]) / STUDY_FILE]


STUDY_KINDS = {STUDY_JOB: JobKind(study_work, keep_study, keeps=study_table)}


def studies_of(archive: Archive, session: Session, day_id: int) -> list[KeptStudy]:
    """All studies of a day, the newest first."""
    chosen = select(Event).where(Event.kind == STUDIED, Event.day_id == day_id).order_by(Event.id.desc())
    return [_kept(archive, event) for event in session.scalars(chosen)]


def newest_study(archive: Archive, session: Session, day_id: int) -> KeptStudy | None:
    """The newest one; none also where its file cannot be read, which a check of the archive tells."""
    chosen = select(Event).where(Event.kind == STUDIED, Event.day_id == day_id).order_by(Event.id.desc()).limit(1)
    event = session.scalar(chosen)
    try:
        return _kept(archive, event) if event is not None else None
    except (StillairError, OSError, ValueError):
        return None


def find_study(archive: Archive, session: Session, day_id: int, number: int) -> KeptStudy:
    """A study by its number. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None or (event.kind, event.day_id) != (STUDIED, day_id):
        raise NotFoundError(f"Test day number {day_id} has no study number {number}.")
    return _kept(archive, event)


def study_on_its_way(session: Session, day_id: int) -> Job | None:
    """The study of a day that waits or runs."""
    chosen = select(Job).where(Job.kind == STUDY_JOB, Job.day_id == day_id, Job.state.in_(("queued", "running")))
    return session.scalar(chosen.order_by(Job.created_at).limit(1))


def _kept(archive: Archive, event: Event) -> KeptStudy:
    after = json.loads(event.after or "{}")
    content = json.loads(archive.raw.path(after["study"]).read_text("utf-8"))
    day_id = event.day_id or 0
    return KeptStudy(event.id, day_id, after["result"], event.who, event.at, after["study"], content)
