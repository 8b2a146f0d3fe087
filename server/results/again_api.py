"""Results fitted again as then, by programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel, Field

from server.days.api import REFUSALS, Number
from server.days.schemas import Queued
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.results.again_job import KeptAgain, find_again, queue_again
from server.results.again_season import find_season_again, queue_season_again
from server.results.long_api import Nothing, SeasonWanted

router = APIRouter(prefix="/api", tags=["jobs"], responses=REFUSALS)
OutcomeNumber = Annotated[int, Path(ge=1, le=2**31)]


class AgainOutcome(BaseModel):
    """A result that was fitted again from what was kept with it."""

    number: int
    day_id: int
    result_id: int
    who: str
    at: str
    sha256: str
    report: dict[str, Any] = Field(
        description="outcome: same (to the last printed digit), differs or lost; shown: which numbers moved; "
        "changes: what differs between then and now."
    )


class SeasonAgainOutcome(BaseModel):
    """The newest results of a season that were."""

    number: int
    who: str
    at: str
    version: str
    scope: str
    results: list[AgainOutcome]


@router.post(
    "/days/{day_id}/results/{result_id}/again", name="api_fit_as_then", status_code=202,
    summary="Fit a result again as then",
)  # fmt: skip
def fit_as_then(
    day_id: Number, result_id: OutcomeNumber, *, sent: Nothing,  # noqa: ARG001 - empty
    archive: TheArchive, runner: Jobs, person: CurrentPerson,
) -> Queued:  # fmt: skip
    """From the files, options and seed that were kept with it; the result itself stands as it was."""
    with archive.database.writing() as session:
        job_id = queue_again(archive, session, day_id, result_id, person)
    runner.wake()
    return Queued(job_id=job_id)


@router.get("/days/{day_id}/again/{number}", name="api_fitted_as_then", summary="What came of fitting a result again")
def fitted_as_then(day_id: Number, number: OutcomeNumber, archive: TheArchive) -> AgainOutcome:
    """By the number that its job's target names."""
    with archive.database.reading() as session:
        return _outcome(find_again(archive, session, day_id, number))


@router.post("/again", name="api_fit_season_as_then", status_code=202, summary="Fit a season's results again as then")
def fit_season_as_then(sent: SeasonWanted, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """The newest result of every day, or of those of a year and a car."""
    job_id = queue_season_again(archive, person, sent.year, sent.car)
    runner.wake()
    return Queued(job_id=job_id)


@router.get("/again/{number}", name="api_season_as_then", summary="What came of fitting a season's results again")
def season_as_then(number: OutcomeNumber, archive: TheArchive) -> SeasonAgainOutcome:
    """By the number that its job's target names."""
    with archive.database.reading() as session:
        kept = find_season_again(archive, session, number)
        each = [_outcome(find_again(archive, session, one["day_id"], one["number"])) for one in kept.results]
    return SeasonAgainOutcome(
        number=kept.number, who=kept.who, at=kept.at, version=kept.version, scope=kept.scope, results=each
    )


def _outcome(kept: KeptAgain) -> AgainOutcome:
    names = ("number", "day_id", "result_id", "who", "at", "sha256", "report")
    return AgainOutcome(**{name: getattr(kept, name) for name in names})
