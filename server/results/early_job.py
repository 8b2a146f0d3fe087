"""The job that tells the early estimate of a revision while its fit is on the way; it keeps no result."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.jobs import JobKind, find_job
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.job_view import EARLY, OPEN
from server.days.service import EARLY_JOB, REFIT_JOB
from server.results.fit_job import laid_out

SHOWN = ("SCx", "SCz", "balance_front")


def early_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: the setups of the day with their areas; none where only the fit can tell."""
    progress(0.02, "reading the day")
    from server.analysis.early_estimate import known_from_json
    from server.analysis.early_fit import fit_early
    from server.readers.load_day import load_day
    from server.readers.log_shelf import SHELF

    try:
        told = json.loads(Path(payload["known"]).read_text())
        known = known_from_json(told) if told["version"] == __version__ else None
    except (OSError, ValueError, KeyError, TypeError):  # it is no more than a memory
        known = None
    if known is None:
        return {"setups": []}
    folder = laid_out(payload)
    day = load_day(folder, open_file=partial(SHELF.open, folder, payload["files"]))
    progress(0.3, "the early estimate")
    result = fit_early(day, known)
    return {"setups": [_setup(one) for one in result.setups if "SCx" in one.estimates] if result else []}


def warm_up(_: Payload, __: Progress) -> Payload:
    """In the worker, once: import what an early estimate takes, load the compiled loops."""
    import server.analysis.early_fit
    import server.readers.load_day  # noqa: F401
    from server.inference.warm import warm

    warm()
    return {}


def _setup(setup: Any) -> dict[str, Any]:
    values = {name: [one.value, one.u, one.u95] for name, one in setup.estimates.items() if name in SHOWN}
    used = sum(one.used and one.kind == "coast-down" for one in setup.passes)
    return {"name": setup.name, "values": values, "coast_downs": used}


def hand_over(_: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: what was found goes to the fit that is on the way, where pages look for it."""
    if outcome["setups"] and find_job(session, payload["fit"]).state in OPEN:
        of_day = select(Job).where(Job.day_id == payload["day_id"], Job.kind == REFIT_JOB, Job.state.in_(OPEN))
        for fit in session.scalars(of_day):  # an older one may still be running before it
            fit.payload = {**fit.payload, EARLY: outcome["setups"]}
    return str(payload["day_id"])


EARLY_KINDS = {EARLY_JOB: JobKind(early_work, hand_over, ahead=True, warm=warm_up)}
