"""Which days hold a file: in one of their revisions, or as the zip that they came in."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.days.tables import DayRevision, RevisionFile, StoredDay
from server.uploads.service import HeldBy


def days_holding(session: Session, sha256: str) -> tuple[HeldBy, ...]:
    """The days that hold these bytes, each once, with the path that they have there."""
    inside = (
        select(StoredDay.id, StoredDay.name, RevisionFile.path)
        .join(DayRevision, DayRevision.day_id == StoredDay.id)
        .join(RevisionFile, RevisionFile.revision_id == DayRevision.id)
        .where(RevisionFile.sha256 == sha256)
        .order_by(StoredDay.id, DayRevision.number)
    )
    whole = select(StoredDay.id, StoredDay.name, StoredDay.sent_as).where(StoredDay.upload_sha256 == sha256)
    found = [*session.execute(inside), *session.execute(whole)]
    return tuple({day_id: HeldBy(day_id, name, path) for day_id, name, path in found}.values())
