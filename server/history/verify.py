"""Is all that was kept as it was? Every hash, every link between rows, files and events, one sentence a fault."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.archive.events import chain_faults
from server.archive.own_checks import own_faults, seals_in_force
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event, Job, RawFile
from server.days.service import FIT_JOB, REFIT_JOB
from server.days.tables import DayRevision, StoredDay
from server.errors import StillairError
from server.history.verify_accounts import account_faults
from server.history.verify_correlation import SEALED as SEALED_DECISIONS
from server.history.verify_correlation import correlation_faults
from server.history.verify_days import day_faults, revision_faults
from server.history.verify_events import Told, event_faults
from server.history.verify_files import raw_faults, sample_faults, upload_faults
from server.history.verify_predictions import SEALED as SEALED_PREDICTIONS
from server.history.verify_predictions import prediction_faults
from server.history.verify_results import result_faults
from server.history.verify_rows import guarded
from server.history.verify_tufts import tuft_faults
from server.results.tables import FittedResult
from server.tufts.tables import TUFT_TABLES, TuftPhoto

Progress = Callable[[float, str], None]
SEALED_TABLES = (
    *("events", "day_revisions", "revision_files", "results"),
    *(table.__tablename__ for table in TUFT_TABLES),
    *SEALED_PREDICTIONS,
    *SEALED_DECISIONS,
)
SEALS = frozenset(f"{table}_no_{verb}" for table in SEALED_TABLES for verb in ("update", "delete"))
NO_SCRATCH = "There is nowhere to lay days out for reading; set TMPDIR to a folder that can be written."


def faults(archive: ReadOnlyArchive, progress: Progress = lambda _fraction, _text: None) -> Iterator[str]:
    """A sentence for each thing that is not as it was kept; all of it as it stood at one moment.

    Raises StillairError where there is no room to lay a day out for reading, StoreError where its store is silent.
    """
    archive.raw.must_answer()
    scratch = _scratch(archive)
    try:
        with archive.database.reading() as session:
            yield from _rows_faults(archive, session, scratch, progress)
        progress(0.9, "samples")
        yield from sample_faults(archive)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _rows_faults(archive: ReadOnlyArchive, session: Session, scratch: Path, progress: Progress) -> Iterator[str]:
    progress(0.0, "the database")
    yield from guarded(session, "The database", database_faults(session))
    progress(0.02, "the chain of events")
    chain = (f"The chain of events: {fault.text}." for fault in chain_faults(session))
    yield from guarded(session, "The chain of events", chain)
    yield from guarded(session, "The raw files", raw_faults(session, archive.raw, progress))
    progress(0.7, "days and results")
    told = Told.read(session)
    yield from guarded(session, "The chain of events", event_faults(session, told))
    yield from guarded(session, "The accounts", account_faults(session, told))
    yield from revision_faults(session, told)
    yield from result_faults(session, archive.raw, told)
    yield from day_faults(session, archive, scratch)
    yield from upload_faults(archive, session, told)
    yield from tuft_faults(session, told)
    yield from prediction_faults(session, archive.raw, told)
    yield from correlation_faults(session, told)
    yield from guarded(session, "The jobs", job_faults(session))


def database_faults(session: Session) -> Iterator[str]:
    """What the database finds amiss in itself, rows that name rows that are not there, seals that were taken off."""
    yield from own_faults(session)
    for name in sorted(SEALS - seals_in_force(session)):
        yield f"The database: the seal {name} is missing."


def job_faults(session: Session) -> Iterator[str]:
    """Jobs that say they made a day that is not there."""
    days = {str(number) for number in session.scalars(select(StoredDay.id))}
    done = select(Job.id, Job.label, Job.target).where(Job.state == "done", Job.kind.in_((FIT_JOB, REFIT_JOB)))
    for job, label, target in session.execute(done):
        if target not in days:
            yield f"Job {job} ({label}): made day {target}, which is not there."


def counted(session: Session) -> str:
    """What there is to look at, in words."""
    tables = {
        "days": StoredDay.id,
        "revisions": DayRevision.id,
        "results": FittedResult.id,
        "photos": TuftPhoto.id,
        "raw files": RawFile.sha256,
        "events": Event.id,
    }
    counts = {name: session.scalar(select(func.count(key))) for name, key in tables.items()}
    return ", ".join(f"{number} {name}" for name, number in counts.items())


def _scratch(archive: ReadOnlyArchive) -> Path:
    """Beside the raw files, where days are laid out by links; elsewhere when nothing can be written there."""
    for parent in (archive.folder / "scratch", None):
        with suppress(OSError):
            if parent is not None:
                parent.mkdir(exist_ok=True)
            return Path(tempfile.mkdtemp(prefix="verify-", dir=parent))
    raise StillairError(NO_SCRATCH)
