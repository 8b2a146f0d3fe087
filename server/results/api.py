"""A day's result as JSON: the object that `fit --json` prints."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict

from server.analysis.result_json import result_to_json
from server.days.schemas import Problem
from server.days.service import find_day
from server.dependencies import Results, TheArchive
from server.results.service import results_of

router = APIRouter(prefix="/api", tags=["results"], responses={404: {"model": Problem}, 422: {"model": Problem}})


@router.get("/days/{day_id}/result", name="api_result", summary="A day's newest result")
def result(day_id: Annotated[int, Path(ge=1, le=2**31)], archive: TheArchive, results: Results) -> dict[str, Any]:
    """As `fit --json` prints it."""
    with archive.database.reading() as session:
        return result_to_json(results.of_day(session, day_id)[1])


class ResultRow(BaseModel):
    """A result of a day: what was fitted by which version, and what moved since the result before it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    revision_id: int
    sha256: str
    version: str
    made_at: dt.datetime
    summary: dict[str, Any]
    moved: list[dict[str, Any]]


@router.get("/days/{day_id}/results", name="api_results", summary="All results of a day, the newest first")
def all_results(day_id: Annotated[int, Path(ge=1, le=2**31)], archive: TheArchive) -> list[ResultRow]:
    """Superseded ones too."""
    with archive.database.reading() as session:
        find_day(session, day_id)
        return [ResultRow.model_validate(row) for row in results_of(session, day_id)]
