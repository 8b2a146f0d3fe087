"""Long work by programs: a day fitted again, a study of days like it, a season fitted again."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path
from pydantic import BaseModel, ConfigDict, Field

from server.days.api import REFUSALS, Number
from server.days.schemas import Body, Queued
from server.days.service import find_day
from server.dependencies import CurrentPerson, Jobs, TheArchive
from server.results.refit_job import find_refit, queue_fit_again, queue_season
from server.results.study_job import MOST_DAYS, USUAL_DAYS, KeptStudy, find_study, queue_study, studies_of

router = APIRouter(prefix="/api", tags=["jobs"], responses=REFUSALS)
OutcomeNumber = Annotated[int, Path(ge=1, le=2**31)]


class Nothing(Body):
    """An object without fields."""


class StudyWanted(Body):
    """How many days to make up."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"days": 200}]})

    days: int = Field(default=USUAL_DAYS, ge=1, le=MOST_DAYS)


class SeasonWanted(Body):
    """Which days; all where nothing is said."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"year": 2026}]})

    year: int | None = Field(default=None, ge=1900, le=9999)
    car: str = Field(default="", max_length=200)


class StudyOutcome(BaseModel):
    """A study of days like one of ours: `study` as `stillair study --json` writes it."""

    number: int
    day_id: int
    result_id: int = Field(description="The result whose intervals it tried.")
    who: str
    at: str
    sha256: str
    study: dict[str, Any]


class SeasonOutcome(BaseModel):
    """A season that was fitted again: what became of each day, and what moved."""

    number: int
    who: str
    at: str
    version: str
    scope: str
    days: list[dict[str, Any]]


@router.post("/days/{day_id}/fit", name="api_fit", status_code=202, summary="Fit a day again")
def fit(
    day_id: Number, sent: Nothing, archive: TheArchive, runner: Jobs, person: CurrentPerson  # noqa: ARG001 - empty
) -> Queued:  # fmt: skip
    """The day as it stands, with the program as it is."""
    with archive.database.writing() as session:
        return _queued(runner, queue_fit_again(archive, session, day_id, person))


@router.post("/days/{day_id}/studies", name="api_study_day", status_code=202, summary="Study days like this one")
def study_day(day_id: Number, sent: StudyWanted, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """Made-up days like this one, each fitted: how many of the intervals hold the truth."""
    with archive.database.writing() as session:
        return _queued(runner, queue_study(archive, session, day_id, sent.days, person))


@router.get("/days/{day_id}/studies", name="api_studies", summary="Studies of days like this one")
def studies(day_id: Number, archive: TheArchive) -> list[StudyOutcome]:
    """The newest first."""
    with archive.database.reading() as session:
        find_day(session, day_id)
        return [_outcome(kept) for kept in studies_of(archive, session, day_id)]


@router.get("/days/{day_id}/studies/{number}", name="api_study", summary="One study of days like this one")
def study(day_id: Number, number: OutcomeNumber, archive: TheArchive) -> StudyOutcome:
    """By the number that its job's target names."""
    with archive.database.reading() as session:
        return _outcome(find_study(archive, session, day_id, number))


@router.post("/refits", name="api_refit", status_code=202, summary="Fit a season again")
def refit(sent: SeasonWanted, archive: TheArchive, runner: Jobs, person: CurrentPerson) -> Queued:
    """All days, or those of a year and a car; one that fails stops no other."""
    return _queued(runner, queue_season(archive, person, sent.year, sent.car))


@router.get("/refits/{number}", name="api_season_refit", summary="What became of a season that was fitted again")
def season_refit(number: OutcomeNumber, archive: TheArchive) -> SeasonOutcome:
    """By the number that its job's target names."""
    with archive.database.reading() as session:
        kept = find_refit(archive, session, number)
    return SeasonOutcome(
        number=kept.number, who=kept.who, at=kept.at, version=kept.version, scope=kept.scope, days=list(kept.days)
    )


def _queued(runner: Jobs, job_id: str) -> Queued:
    runner.wake()
    return Queued(job_id=job_id)


def _outcome(kept: KeptStudy) -> StudyOutcome:
    return StudyOutcome(
        number=kept.number,
        day_id=kept.day_id,
        result_id=kept.result_id,
        who=kept.who,
        at=kept.at,
        sha256=kept.sha256,
        study=kept.content,
    )
