"""Predictions by programs: a table looked at or kept as a set, sets and their cases, names matched to setups."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.api import REFUSALS, Number
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.predictions.asking import reading_of
from server.predictions.cars import check_matches, names_written, setups_of_car, unmatched_names, wheelbase_of_car
from server.predictions.content import case_json, read_content, tap_json
from server.predictions.drafts import Wanted, content_of_table, first_choices, keep_table
from server.predictions.schemas import (
    CaseOut,
    ColumnSaid,
    MatchesOut,
    MatchesSent,
    PredictionSetRows,
    PredictionSetView,
    RowOut,
    RowsOut,
    TableAsked,
    TableSent,
    Withdrawal,
)
from server.predictions.service import (
    SetHead,
    TableFile,
    cases_for_car,
    end_of,
    find_set,
    keep_matches,
    list_sets,
    matches_of,
    taps_for_car,
    withdraw_set,
)
from server.predictions.tables import PredictionSet
from server.readers.prediction_reading import lacks
from server.readers.prediction_table import GivenTable, read_table
from server.testday.predicted import PredictedRow
from server.uploads.tables import Upload

router = APIRouter(prefix="/api/predictions", tags=["predictions"], responses=REFUSALS)
CarAsked = Annotated[str, Query(max_length=200, description="The car's name; all cars' sets when left out.")]
TEXT_NAME = "table.csv"


@router.get("", name="api_predictions", summary="Sets of predictions, the newest first")
def sets(archive: TheArchive, car: CarAsked | None = None) -> list[PredictionSetView]:
    """Those that were withdrawn or revised among them."""
    with archive.database.reading() as session:
        return [_view(session, one) for one in list_sets(session, car)]


@router.get("/cases", name="api_predicted_cases", summary="Predicted cases of a car")
def cases(archive: TheArchive, car: CarAsked = "") -> list[CaseOut]:
    """Of all its sets that stand; a setup has the car's own name where a person matched it."""
    with archive.database.reading() as session:
        return [
            CaseOut(set_id=one.set_id, set_name=one.set_name, recipe=one.recipe, line=one.line,
                    written=one.written, case=case_json(one.case))
            for one in cases_for_car(archive, session, car)
        ]  # fmt: skip


@router.get("/taps", name="api_predicted_taps", summary="Predicted pressure taps of a car")
def taps(archive: TheArchive, car: CarAsked = "") -> list[CaseOut]:
    """As the cases."""
    with archive.database.reading() as session:
        return [
            CaseOut(set_id=one.set_id, set_name=one.set_name, recipe=one.recipe, line=one.line,
                    written=one.written, case=tap_json(one.tap))
            for one in taps_for_car(archive, session, car)
        ]  # fmt: skip


@router.get("/matching", name="api_prediction_matching", summary="Names in predictions and setups of the car")
def matching(archive: TheArchive, car: CarAsked = "") -> MatchesOut:
    """A name that is a setup of the car needs no word; the others wait for one."""
    with archive.database.reading() as session:
        return _matches(archive, session, car)


@router.put("/matching", name="api_match_predictions", summary="Say which setup a name means")
def match(sent: MatchesSent, archive: TheArchive, person: CurrentPerson) -> MatchesOut:
    """Names that are not sent stay as they are."""
    with archive.database.reading() as session:
        known = names_written(archive, session, sent.car)
        if any(one not in known for one in sent.matches):
            raise StillairError("One of the names does not stand in the predictions of this car.")
        check_matches(archive, session, sent.car, sent.matches)
    with archive.database.writing() as session:
        keep_matches(session, sent.car, sent.matches, who=person)
    with archive.database.reading() as session:
        return _matches(archive, session, sent.car)


@router.get("/{number}", name="api_prediction_set", summary="One set with its rows")
def one_set(number: Number, archive: TheArchive) -> PredictionSetRows:
    """Each row as it was given and what it became; bad rows that were left out among them."""
    with archive.database.reading() as session:
        one = find_set(session, number)
        content = read_content(archive.raw, one.content_sha256)
        rows = [_row(row) for row in content.rows]
        return PredictionSetRows(**_view(session, one).model_dump(), said=list(content.said), rows=rows)


@router.post("/rows", name="api_preview_predictions", summary="See what a table would become")
def preview(sent: TableAsked, archive: TheArchive) -> RowsOut:
    """Nothing is kept."""
    with archive.database.reading() as session:
        table, _ = _table(archive, session, sent)
        choices = _choices(archive, session, table, sent)
    reading = reading_of(choices, len(table.columns))
    if (missing := next(lacks(table, reading), None)) is not None:
        raise StillairError(missing[1])
    content = content_of_table(table, reading)
    columns = [ColumnSaid(role=one.role, unit=one.unit) for one in reading.columns]
    rows = [_row(row) for row in content.rows]
    return RowsOut(description=table.description, columns=columns, said=list(content.said), rows=rows)


@router.post("", name="api_keep_predictions", status_code=201, summary="Keep a table as a set")
def keep(sent: TableSent, archive: TheArchive, person: CurrentPerson) -> PredictionSetView:
    """Whole, or without its bad rows where `without_bad` says so; else nothing is kept."""
    head = SetHead(sent.car, sent.name.strip(), sent.recipe, sent.author, _date(sent.dated))
    wanted = Wanted(head, sent.without_bad, sent.matches, sent.reason)
    with archive.database.reading() as session:
        if sent.revises is not None and find_set(session, sent.revises).car != sent.car:
            raise StillairError("The set to be revised is another car's.")
        table, data = _table(archive, session, sent)
        choices = _choices(archive, session, table, sent)
        check_matches(archive, session, sent.car, sent.matches)
    with archive.database.writing() as session, tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        path = Path(scratch) / "table"
        path.write_bytes(data)
        made = keep_table(
            archive, session, table, choices, wanted,
            file=TableFile(table.name, path), who=person, revises=sent.revises,
        )  # fmt: skip
        return _view(session, made)


@router.post(
    "/{number}/withdraw", name="api_withdraw_predictions", status_code=201, summary="Withdraw a set"
)  # fmt: skip
def withdraw(number: Number, sent: Withdrawal, archive: TheArchive, person: CurrentPerson) -> PredictionSetView:
    """It stays readable, and stands no more."""
    with archive.database.writing() as session:
        withdraw_set(session, number, who=person, reason=sent.reason)
        return _view(session, find_set(session, number))


def _table(archive: Archive, session: Session, sent: TableSent) -> tuple[GivenTable, bytes]:
    """The table that was sent, as text or as an upload. Raises LogError, StillairError, NotFoundError."""
    if (sent.table is None) == (sent.upload_id is None):
        raise StillairError("Send the table's text or the number of an upload, one of both.")
    if sent.table is not None:
        data = sent.table.encode("utf-8", "replace")
        return read_table(TEXT_NAME, data), data
    upload = session.get(Upload, sent.upload_id)
    if upload is None or upload.sha256 is None:
        raise NotFoundError("No file has come in under that number.")
    data = archive.raw.path(upload.sha256).read_bytes()
    return read_table(upload.name, data), data


def _choices(archive: Archive, session: Session, table: GivenTable, sent: TableSent) -> dict[str, Any]:
    """What is proposed, and over it what was sent."""
    choices, _ = first_choices(session, table, wheelbase_of_car(archive, session, sent.car))
    if sent.columns is not None:
        choices["columns"] = [[one.role, one.unit] for one in sent.columns]
    said = {name: value for name, value in sent.said.model_dump().items() if value is not None}
    numbers = {name: f"{value:.12g}" if isinstance(value, float) else value for name, value in said.items()}
    return choices | numbers


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        raise StillairError("“dated” must be a day as 2026-05-09.") from None


def _view(session: Session, one: PredictionSet) -> PredictionSetView:
    end = end_of(session, one.id)
    columns = {name: getattr(one, name) for name in PredictionSetView.model_fields if hasattr(one, name)}
    ended = {
        "ended": end.how if end else "",
        "end_reason": end.reason if end else "",
        "next_id": end.next_id if end else None,
    }
    return PredictionSetView(**columns, **ended)


def _row(row: PredictedRow) -> RowOut:
    return RowOut(
        line=row.line,
        given=dict(row.given),
        words=list(row.words),
        case=case_json(row.case) if row.case else None,
        tap=tap_json(row.tap) if row.tap else None,
        problem=row.problem,
    )


def _matches(archive: Archive, session: Session, car: str) -> MatchesOut:
    return MatchesOut(
        car=car,
        setups=list(setups_of_car(archive, session, car)),
        matches=matches_of(session, car),
        open=list(unmatched_names(archive, session, car)),
    )
