"""A day's result as JSON: the object that `fit --json` prints."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path

from server.analysis.result_json import result_to_json
from server.days.schemas import Problem
from server.dependencies import Results, TheArchive

router = APIRouter(prefix="/api", tags=["results"], responses={404: {"model": Problem}, 422: {"model": Problem}})


@router.get("/days/{day_id}/result", name="api_result", summary="A day's newest result")
def result(day_id: Annotated[int, Path(ge=1, le=2**31)], archive: TheArchive, results: Results) -> dict[str, Any]:
    """As `fit --json` prints it."""
    with archive.database.reading() as session:
        return result_to_json(results.of_day(session, day_id)[1])
