"""Rows of tufts kept with the event that tells of them, whole: what the chain seals can be held against them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from server.archive.database import Base
from server.archive.events import record
from server.archive.tables import Event

KINDS = {
    "tuft_photos": "tuft-photo-added",
    "tuft_photo_facts": "tuft-photo-told",
    "tuft_marks": "tuft-marked",
    "tuft_stations": "tuft-stations-set",
    "tuft_views": "tuft-view-set",
    "tuft_cameras": "tuft-camera-set",
}


def told(row: Base) -> dict[str, Any]:
    """A row as its event tells it."""
    values = {column.key: getattr(row, column.key) for column in row.__table__.columns}
    return {name: value.isoformat() if isinstance(value, dt.datetime) else value for name, value in values.items()}


def keep(session: Session, rows: Sequence[Base], *, day_id: int, subject: str, who: str, reason: str = "") -> Event:
    """Append rows of one table, in a writing transaction, with their event."""
    session.add_all(rows)
    session.flush()
    table = rows[0].__tablename__
    after = {"rows": [told(row) for row in rows]}
    kind = KINDS[table]
    return record(session, who=who, kind=kind, day_id=day_id, subject=subject, after=after, reason=reason)
