"""Logs added to a day by programs, as the page of the day takes them."""

from __future__ import annotations

from fastapi import APIRouter

from server.days.adding_runs import newest_with_files, problems_of, queue_runs, sent_of
from server.days.api import REFUSALS, Number
from server.days.form_fields import Typed
from server.days.schemas import NewRuns, Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.errors import StillairError

router = APIRouter(prefix="/api", tags=["runs"], responses=REFUSALS)


@router.post("/days/{day_id}/runs", name="api_add_runs", status_code=202, summary="Add logs to a day")
def add_runs(day_id: Number, sent: NewRuns, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """Each log becomes a run; the job reads them first, and keeps all of them or none."""
    with archive.database.reading() as session:
        _, day, files = newest_with_files(archive, session, day_id)
    rows = sent_of(archive, typed_rows(sent))
    if problems := problems_of(day, files, rows):
        place, why = min(problems.items())
        raise StillairError(f"“logs.{place}”: {why}")
    job_id = queue_runs(archive, day_id, rows, person, sent.reason)
    runner.wake()
    return Queued(job_id=job_id)


def typed_rows(sent: NewRuns) -> Typed:
    """The page's form: lists that stand side by side, a place a log."""
    typed: dict[str, tuple[str, ...]] = {"log_upload": tuple(row.upload_id for row in sent.logs)}
    for name in ("setup", "start", "driver", "direction", "coasting", "notes"):
        typed[f"log_{name}"] = tuple(_text(getattr(row, name)) for row in sent.logs)
    for row in sent.logs:
        typed |= {f"role:{row.upload_id}:{role}": (column,) for role, column in row.channels.items()}
    return typed


def _text(value: str | float | None) -> str:
    return "" if value is None else value if isinstance(value, str) else repr(value)
