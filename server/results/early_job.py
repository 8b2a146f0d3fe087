"""The job that tells the early estimate of a revision while its fit is on the way; it keeps no result."""

from __future__ import annotations

import json
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import Session

from server import __version__
from server.archive.archive import Archive
from server.archive.jobs import JobKind, find_job
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.job_view import EARLY, OPEN
from server.days.service import EARLY_JOB, REFIT_JOB
from server.results.early_setups import early_setups
from server.results.fit_job import laid_out

if TYPE_CHECKING:
    from server.analysis.early_estimate import KnownNoise

FEW_LINES = "time [s];speed [m/s]\n" + "".join(f"{k / 10};{30 - k / 10}\n" for k in range(20))


def early_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: the setups of the day with their areas; none where only the fit can tell."""
    progress(0.02, "reading the day")
    from server.analysis.early_fit import fit_early
    from server.readers.load_day import load_day
    from server.readers.log_shelf import SHELF

    folder = laid_out(payload)
    day = load_day(folder, open_file=partial(SHELF.open, folder, payload["files"]))
    progress(0.3, "the early estimate")
    return {"setups": early_setups(fit_early(day, known_of(Path(payload["known"]))))}


def known_of(file: Path) -> KnownNoise | None:
    """What the day's last fit left of its noise; None where it cannot be read: it is no more than a memory."""
    from server.analysis.early_estimate import known_from_json

    try:
        told = json.loads(file.read_text())
        return known_from_json(told) if told["version"] == __version__ else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def warm_up(_: Payload, __: Progress) -> Payload:
    """In the worker, once: import what an early estimate takes, load the compiled loops, read a log."""
    import server.analysis.early_fit  # noqa: F401
    from server.inference.warm import warm
    from server.readers import open_log

    warm()
    with tempfile.TemporaryDirectory() as scratch:
        log = Path(scratch) / "log.csv"
        log.write_text(FEW_LINES)
        open_log(log)  # imports what parses it
    return {}


def hand_over(_: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: what was found goes to the fit that is on the way, where pages look for it."""
    if outcome["setups"] and find_job(session, payload["fit"]).state in OPEN:
        of_day = select(Job).where(Job.day_id == payload["day_id"], Job.kind == REFIT_JOB, Job.state.in_(OPEN))
        for fit in session.scalars(of_day):  # an older one may still be running before it
            fit.payload = {**fit.payload, EARLY: outcome["setups"]}
    return str(payload["day_id"])


EARLY_KINDS = {EARLY_JOB: JobKind(early_work, hand_over, ahead=True, warm=warm_up)}
