"""Tuft photos, marks and what belongs to them: is every row told of, whole, by one event, and is the row still that?"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.database import Base
from server.archive.events import canonical
from server.history.verify_events import Told, after_of
from server.history.verify_rows import guarded
from server.tufts.keeping import KINDS, told
from server.tufts.tables import TUFT_TABLES, TuftPhoto, TuftPhotoFacts


def tuft_faults(session: Session, events: Told) -> Iterator[str]:
    """Rows that no event tells of as they are, told rows that are gone, photos of which nothing is said."""
    for table in TUFT_TABLES:
        yield from guarded(session, f"Tufts, {table.__tablename__}", _table_faults(session, events, table))
    said = set(session.scalars(select(TuftPhotoFacts.photo_id)))
    for photo in session.scalars(select(TuftPhoto.id)):
        if photo not in said:
            yield f"Tufts, photo {photo}: nothing is said of it."


def _table_faults(session: Session, events: Told, table: type[Base]) -> Iterator[str]:
    name, mentioned = table.__tablename__, _told_rows(events, KINDS[table.__tablename__])
    for row in session.scalars(select(table).order_by(table.id)):  # type: ignore[attr-defined]
        number = row.id  # type: ignore[attr-defined]
        tellings = mentioned.pop(number, [])
        if len(tellings) != 1:
            yield f"Tufts, {name} {number}: {len(tellings)} events tell of it, one should."
        elif canonical(tellings[0]) != canonical(json.loads(json.dumps(told(row)))):
            yield f"Tufts, {name} {number}: its event tells of something else."
    for number in mentioned:
        yield f"Tufts, {name} {number}: an event tells of it, but it is not there."


def _told_rows(events: Told, kind: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = {}
    for event in (one for one in events.events if one.kind == kind):
        rows = after_of(event).get("rows")
        for row in rows if isinstance(rows, list) else []:
            if isinstance(row, dict) and isinstance(row.get("id"), int):
                found.setdefault(row["id"], []).append(row)
    return found
