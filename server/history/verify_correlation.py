"""Decisions on verdicts, tables of taps and margins: is each told of, whole, by one event, and is it still that?"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import canonical
from server.correlation.margins import CHANGED, margins_of
from server.correlation.notes import DECIDED
from server.correlation.tables import CorrelationMargins, DecisionNote, MeasuredTaps
from server.correlation.taps import MEASURED
from server.history.verify_events import Told, after_of
from server.history.verify_rows import guarded
from server.predictions.service import told_row

SEALED = ("decision_notes", "measured_taps")


def correlation_faults(session: Session, told: Told) -> Iterator[str]:
    """Rows that no event tells of as they are, told ones that are gone, margins that nobody set."""
    yield from guarded(session, "Decisions", _row_faults(session, told, DecisionNote, DECIDED))
    yield from guarded(session, "Measured taps", _row_faults(session, told, MeasuredTaps, MEASURED))
    yield from guarded(session, "Margins", _margin_faults(session, told))


def _row_faults(
    session: Session, told: Told, table: type[DecisionNote] | type[MeasuredTaps], kind: str
) -> Iterator[str]:
    name = table.__tablename__
    tellings = {row.get("id"): row for one in told.events if one.kind == kind and (row := _row(after_of(one)))}
    for row in session.scalars(select(table)):
        telling = tellings.pop(row.id, None)
        if telling is None:
            yield f"Correlation, {name} {row.id}: no event tells of it."
        elif canonical(telling) != canonical(json.loads(json.dumps(told_row(row)))):  # type: ignore[arg-type]
            yield f"Correlation, {name} {row.id}: its event tells of something else."
    yield from (f"Correlation, {name} {number}: an event tells of it, but it is not there." for number in tellings)


def _row(after: dict[str, object]) -> dict[str, object]:
    row = after.get("row")
    return row if isinstance(row, dict) else {}


def _margin_faults(session: Session, told: Told) -> Iterator[str]:
    said = {one.subject.removeprefix("margins of "): after_of(one) for one in told.events if one.kind == CHANGED}
    for car in session.scalars(select(CorrelationMargins.car)):
        if said.get(car) != asdict(margins_of(session, car)):
            yield f"Correlation, margins of {car!r}: nobody set them so."
