"""The channels of a run's logs as JSON, and what they recorded."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Annotated

from fastapi import APIRouter, Query

from server.days.api import REFUSALS, Number
from server.days.revisions import newest_day
from server.days.service import revision_files
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.errors import NotFoundError
from server.runs.api import RunNumber
from server.runs.recordings import RunLog, queue_reading, run_logs, unread
from server.runs.schemas import ChannelView, RunChannels, TraceView

router = APIRouter(prefix="/api", tags=["runs"], responses=REFUSALS)
KEPT = ("position", "name", "unit", "n", "first_s", "last_s")


@router.get("/days/{day_id}/runs/{number}/channels", name="api_run_channels", summary="The channels of a run's logs")
def channels(
    day_id: Number, number: RunNumber, archive: TheArchive, runner: Jobs, person: CurrentPerson
) -> RunChannels:
    """Of logs that nobody has looked at yet the reading is queued; ask again when its job is done."""
    logs = _logs(archive, day_id, number)
    waiting = unread(archive, logs)
    job_id = None
    if waiting:
        with archive.database.writing() as session:
            job_id = queue_reading(archive, session, (day_id, number), waiting, person)
        runner.wake()
    views = [
        ChannelView(log=one.log.file, sha256=one.sha256, **{name: getattr(kept, name) for name in KEPT})
        for one in logs
        if one not in waiting
        for kept in archive.samples.channels(one.key)
    ]
    return RunChannels(channels=views, job_id=job_id)


@router.get("/days/{day_id}/runs/{number}/trace", name="api_trace", summary="What a channel recorded")
def trace(
    day_id: Number, number: RunNumber, *, archive: TheArchive, log: str, channel: Annotated[int, Query(ge=0, le=2**31)],
    start_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
    end_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
    points: Annotated[int, Query(ge=3, le=20_000)] = 2000,
) -> TraceView:  # fmt: skip
    """channel: its position; the log's clock counts. Few enough samples are given one by one."""
    found = next((one for one in _logs(archive, day_id, number) if one.log.file == log), None)
    if found is None:
        raise NotFoundError(f"Run {number} has no log of that name.")
    made = archive.samples.trace(found.key, channel, start_s, end_s, points)
    return TraceView(
        name=made.name,
        unit=made.unit,
        exact=made.exact,
        first_s=_plain(made.first_s.tolist()),
        last_s=_plain(made.last_s.tolist()),
        low=_plain(made.low.tolist()),
        high=_plain(made.high.tolist()),
        count=made.count.tolist(),
    )


def _logs(archive: TheArchive, day_id: int, number: int) -> tuple[RunLog, ...]:
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, day_id)
        files = revision_files(session, revision.id)
    run = next((one for one in day.runs if one.number == number), None)
    if run is None:
        raise NotFoundError(f"This day has no run {number}.")
    return run_logs(day, run, files)


def _plain(values: Iterable[float]) -> list[float | None]:
    """Numbers as JSON; null for what is none."""
    return [value if math.isfinite(value) else None for value in values]
