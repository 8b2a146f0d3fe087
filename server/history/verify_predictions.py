"""Sets of predictions: is each told of, whole, by one event, can its cases be read, and do names mean what was said?"""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import canonical
from server.archive.raw_files import RawStore
from server.history.verify_events import Told, after_of
from server.history.verify_rows import guarded
from server.predictions.content import content_of
from server.predictions.service import ADDED, ENDED, MATCHED, told_row
from server.predictions.tables import PredictionEnd, PredictionSet, SetupMatch

SEALED = ("prediction_sets", "prediction_ends")


def prediction_faults(session: Session, raw: RawStore, told: Told) -> Iterator[str]:
    """Sets and their ends that no event tells of as they are, told ones that are gone, matches that nobody said."""
    yield from guarded(session, "Predictions", _row_faults(session, told, PredictionSet, ADDED, "id"))
    yield from guarded(session, "Predictions", _row_faults(session, told, PredictionEnd, ENDED, "set_id"))
    yield from guarded(session, "Predictions", _match_faults(session, told))
    for number, sha256 in session.execute(select(PredictionSet.id, PredictionSet.content_sha256)).all():
        yield from guarded(session, f"Predictions, set {number}", _content_faults(session, raw, number, sha256))


def _row_faults(
    session: Session, told: Told, table: type[PredictionSet] | type[PredictionEnd], kind: str, key: str
) -> Iterator[str]:
    name = table.__tablename__
    tellings = {row[key]: row for one in told.events if one.kind == kind and (row := _row(after_of(one)))}
    for row in session.scalars(select(table)):
        number = getattr(row, key)
        telling = tellings.pop(number, None)
        if telling is None:
            yield f"Predictions, {name} {number}: no event tells of it."
        elif canonical(telling) != canonical(json.loads(json.dumps(told_row(row)))):
            yield f"Predictions, {name} {number}: its event tells of something else."
    yield from (f"Predictions, {name} {number}: an event tells of it, but it is not there." for number in tellings)


def _row(after: dict[str, object]) -> dict[str, object]:
    row = after.get("row")
    return row if isinstance(row, dict) else {}


def _match_faults(session: Session, told: Told) -> Iterator[str]:
    said: dict[tuple[object, object], object] = {}
    for event in (one for one in told.events if one.kind == MATCHED):
        after = after_of(event)
        setups = after.get("setups")
        if isinstance(setups, dict):
            said |= {(after.get("car"), written): setup for written, setup in setups.items()}
    for row in session.scalars(select(SetupMatch)):
        if said.pop((row.car, row.written), None) != row.setup:
            yield f"Predictions, match of {row.written!r}: nobody said that it means {row.setup!r}."
    for _, written in said:
        yield f"Predictions, match of {written!r}: an event tells of it, but it is not there."


def _content_faults(session: Session, raw: RawStore, number: int, sha256: str) -> Iterator[str]:
    """Read from the file itself, not from what the server has in memory."""
    one = session.get_one(PredictionSet, number)
    content = content_of(json.loads(raw.path(sha256).read_text("utf-8")))
    found = (content.kind, len(content.taken), len(content.left_out))
    if found != (one.kind, one.cases, one.left_out):
        yield f"Predictions, set {number}: its file holds {found[1]} cases, {found[2]} bad rows; the list says others."
