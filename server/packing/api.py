"""A season out and in, by programs."""

from __future__ import annotations

from tempfile import TemporaryFile
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response, StreamingResponse

from server.days.api import BINARY, REFUSALS, ZIP
from server.days.schemas import Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.packing.bring_job import queue_unpacking
from server.packing.pages import zip_answer
from server.packing.sending import packed_stream

router = APIRouter(prefix="/api", responses=REFUSALS, tags=["files"])
Year = Annotated[int | None, Query(ge=1900, le=9999, description="Days of this year; of all where none is named.")]
Car = Annotated[str, Query(max_length=200, description="Days of this car; of all where none is named.")]


@router.get(
    "/season.zip", name="api_packed_season", summary="Days, tables and history in one zip", response_class=Response,
    responses={200: {"content": {ZIP: {"schema": BINARY}}, "description": "The bytes."}},
)  # fmt: skip
def packed_season(archive: TheArchive, year: Year = None, car: Car = "") -> StreamingResponse:
    """What `stillair pack` writes; its manifest.json has the SHA-256 of every file in it."""
    return zip_answer(*packed_stream(archive, year, car))


@router.post(
    "/season.zip", name="api_unpack_season", status_code=202, summary="Unpack a season into this empty archive",
    openapi_extra={"requestBody": {"required": True, "content": {ZIP: {"schema": BINARY}}}},
)  # fmt: skip
async def unpack_season(
    request: Request, *, archive: TheArchive, runner: Jobs, person: CurrentPerson,
    name: Annotated[str, Query(min_length=1, max_length=100)] = "season.zip",
) -> Queued:  # fmt: skip
    """The zip is the body; all of it is kept, or nothing. A large one is better brought by `stillair unpack`."""
    with TemporaryFile(dir=archive.scratch) as content:
        async for piece in request.stream():
            await run_in_threadpool(content.write, piece)
        content.seek(0)
        job_id = await run_in_threadpool(queue_unpacking, archive, name, content, person)
    runner.wake()
    return Queued(job_id=job_id)
