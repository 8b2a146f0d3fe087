"""Results as JSON: the object that `fit --json` prints, every pass, every figure; and passes as CSV."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from server.analysis.result import DayResult
from server.analysis.result_json import result_to_json
from server.days.api import REFUSALS, Number
from server.days.day_shelf import stored_day
from server.days.service import find_day, revision_files
from server.dependencies import Results, TheArchive
from server.errors import NotFoundError
from server.results.figure_words import figure_words
from server.results.pass_table import pass_rows, pass_table
from server.results.service import find_result, results_of
from server.results.tables import FittedResult

CSV = "text/csv; charset=utf-8"
CSV_ANSWER: dict[int | str, dict[str, Any]] = {200: {"content": {CSV: {"schema": {"type": "string"}}}}}
ResultNumber = Annotated[int, Path(ge=1, le=2**31)]
Which = Annotated[int | None, Query(ge=1, le=2**31, description="Number of a result; the newest where none is named.")]

router = APIRouter(prefix="/api", tags=["results"], responses=REFUSALS)


@router.get("/days/{day_id}/result", name="api_result", summary="A day's newest result")
def result(day_id: Number, archive: TheArchive, results: Results) -> dict[str, Any]:
    """As `fit --json` prints it."""
    with archive.database.reading() as session:
        row, found = results.of_day(session, day_id)
        return _with_correlation(archive, session, row, found)


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
def all_results(day_id: Number, archive: TheArchive) -> list[ResultRow]:
    """Superseded ones too."""
    with archive.database.reading() as session:
        find_day(session, day_id)
        return [ResultRow.model_validate(row) for row in results_of(session, day_id)]


@router.get("/days/{day_id}/results/{result_id}", name="api_old_result", summary="A result by its number")
def one_result(day_id: Number, result_id: ResultNumber, archive: TheArchive, results: Results) -> dict[str, Any]:
    """As `fit --json` prints it; superseded or not."""
    with archive.database.reading() as session:
        row = find_result(session, day_id, result_id)
        return _with_correlation(archive, session, row, results.read(row.sha256))


def _with_correlation(archive: TheArchive, session: Session, row: FittedResult, result: DayResult) -> dict[str, Any]:
    """The result, held against the predictions of its own day's folder, as `fit` does."""
    from server.analysis.correlation import correlate_day

    day = stored_day(archive, revision_files(session, row.revision_id))
    return result_to_json(result, correlate_day(result, day))


class PassView(BaseModel):
    """A pass; null where it tells nothing of that."""

    setup: str
    run: int
    kind: str
    direction: str
    start_s: float
    end_s: float
    low_mps: float | None
    high_mps: float | None
    used: bool
    reason: str
    scx_m2: float | None = Field(description="Of this pass alone, all that is shared held at the joint estimate.")
    scx_u_m2: float | None = Field(description="By the pass's own noise alone; that of the area is the setup's.")
    head_wind_mps: float | None
    time_closure: float | None
    energy_closure: float | None


@router.get("/days/{day_id}/passes", name="api_passes", summary="Every pass of a result")
def passes(day_id: Number, archive: TheArchive, results: Results, result: Which = None) -> list[PassView]:
    """Used ones and those that were turned down, in the order in which they were driven."""
    return [PassView(**row) for row in pass_rows(_chosen(archive, results, day_id, result))]


@router.get(
    "/days/{day_id}/passes.csv", name="api_passes_csv", summary="Every pass of a result as CSV",
    response_class=Response, responses=CSV_ANSWER,
)  # fmt: skip
def passes_csv(day_id: Number, archive: TheArchive, results: Results, result: Which = None) -> Response:
    """The same table; RFC 4180."""
    content = pass_table(_chosen(archive, results, day_id, result)).to_csv()
    headers = {"Content-Disposition": f'attachment; filename="day-{day_id}-passes.csv"'}
    return Response(content, media_type=CSV, headers=headers)


class FigureName(BaseModel):
    """A figure that a result has."""

    name: str
    words: str


@router.get("/days/{day_id}/figures", name="api_figures", summary="The figures of a result")
def figures(day_id: Number, archive: TheArchive, results: Results, result: Which = None) -> list[FigureName]:
    """By their names in addresses, each choice of one too."""
    from server.figures.catalogue import choice_names, figure_names

    found = _chosen(archive, results, day_id, result)
    names = [each for name in figure_names(found) for each in (choice_names(name, found).values() or (name,))]
    return [FigureName(name=name, words=figure_words(name)) for name in names]


class FigureView(BaseModel):
    """A figure as the plot library takes it, in light colours; `dark`: the swaps that make it dark."""

    figure: dict[str, Any]
    dark: dict[str, str]


@router.get(
    "/days/{day_id}/figures/{name}", name="api_figure", summary="A figure", response_model=FigureView
)
def figure(
    day_id: Number, name: str, *, archive: TheArchive, results: Results, result: Which = None, narrow: bool = False
) -> Response:
    """Data and layout as Plotly's JSON."""
    from server.figures.catalogue import figure_json, find_plot

    found = _chosen(archive, results, day_id, result)
    if find_plot(name, found) is None:
        raise NotFoundError(f"This result has no figure called {name[:40]}.")
    return Response(figure_json(name, found, narrow), media_type="application/json")


def _chosen(archive: TheArchive, results: Results, day_id: int, result_id: int | None) -> DayResult:
    with archive.database.reading() as session:
        find_day(session, day_id)
        if result_id is None:
            return results.of_day(session, day_id)[1]
        return results.read(find_result(session, day_id, result_id).sha256)
