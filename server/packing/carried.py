"""The rows that a packed season carries, table by table, as JSON lines; and a line back as a row."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Date, Select, select
from sqlalchemy.orm import Session

from server.archive.database import Base, UtcDateTime, inner_path
from server.correlation.tables import CorrelationMargins, DecisionNote, MeasuredTaps
from server.days.tables import ColumnChoice, DayRevision, RevisionFile, StoredDay
from server.packing.choosing import Chosen
from server.predictions.tables import PredictionEnd, PredictionSet, SetupMatch, TableMapping
from server.results.tables import FittedResult
from server.tufts.tables import TuftCamera, TuftMarkRow, TuftPhoto, TuftPhotoFacts, TuftStations, TuftView

# A row comes after those that it names.
TABLES: tuple[type[Base], ...] = (
    *(StoredDay, DayRevision, RevisionFile, FittedResult),
    *(PredictionSet, PredictionEnd, SetupMatch),
    *(DecisionNote, MeasuredTaps, CorrelationMargins),
    *(TuftPhoto, TuftPhotoFacts, TuftMarkRow, TuftStations, TuftView, TuftCamera),
    *(ColumnChoice, TableMapping),
)
BY_NAME = {table.__tablename__: table for table in TABLES}
HASHES = ("sha256", "file_sha256", "content_sha256", "upload_sha256")
NOT_CARRIED = {"days": ("upload_sha256",)}  # the zip as it was sent: its files are there
IN_PARTS = 500


def statements(chosen: Chosen) -> Iterator[tuple[type[Base], Select[Any]]]:
    """What is chosen of each table, in the order of its key."""
    days = chosen.ids
    revisions = select(DayRevision.id).where(DayRevision.day_id.in_(days))
    photos = select(TuftPhoto.id).where(TuftPhoto.day_id.in_(days))
    conditions = {
        StoredDay: StoredDay.id.in_(days),
        RevisionFile: RevisionFile.revision_id.in_(revisions),
        PredictionSet: PredictionSet.id.in_(chosen.sets),
        PredictionEnd: PredictionEnd.set_id.in_(chosen.sets),
        SetupMatch: SetupMatch.car.in_(chosen.cars),
        CorrelationMargins: CorrelationMargins.car.in_(chosen.cars),
        TuftPhotoFacts: TuftPhotoFacts.photo_id.in_(photos),
        TuftMarkRow: TuftMarkRow.photo_id.in_(photos),
    }
    for table in TABLES:
        chosen_rows = select(table).order_by(*table.__table__.primary_key.columns)
        if table in conditions:
            chosen_rows = chosen_rows.where(conditions[table])
        elif "day_id" in table.__table__.columns:
            chosen_rows = chosen_rows.where(table.__table__.columns["day_id"].in_(days))
        yield table, chosen_rows


def row_lines(session: Session, chosen: Chosen) -> Iterator[dict[str, Any]]:
    """Every row as JSON has it, with the name of its table."""
    for _, statement in statements(chosen):
        for row in session.scalars(statement.execution_options(yield_per=IN_PARTS)):
            yield told(row)


def told(row: Base) -> dict[str, Any]:
    """A row as its line has it."""
    name = row.__tablename__
    left_out = NOT_CARRIED.get(name, ())
    values = {column.key: getattr(row, column.key) for column in row.__table__.columns if column.key not in left_out}
    return {"table": name, **{key: _plain(value) for key, value in values.items()}}


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date) else value


def hashes_in(line: Mapping[str, Any]) -> Iterator[str]:
    """The raw files that a row names; a day's and a revision's content_sha256 is none."""
    of_files = HASHES if line["table"] not in ("days", "day_revisions") else ()
    yield from (line[name] for name in of_files if line.get(name))


def row_of(line: Mapping[str, Any]) -> Base:
    """The row that a line tells.

    Raises StillairError for a path that leaves its folder; LookupError, TypeError, ValueError or AttributeError where
    the line tells no row that is known here.
    """
    values = dict(line)
    table = BY_NAME[values.pop("table")]
    columns = table.__table__.columns
    if "path" in values:
        inner_path(values["path"])
    return table(**{name: _value(columns[name].type, value) for name, value in values.items()})


def _value(kind: Any, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, UtcDateTime):
        return dt.datetime.fromisoformat(value)
    return dt.date.fromisoformat(value) if isinstance(kind, Date) else value


def line_text(line: Mapping[str, Any]) -> str:
    """A line of a file."""
    return json.dumps(line, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"
