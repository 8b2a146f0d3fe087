"""What people said of columns on earlier days: kept with the change that says it, proposed again on the next upload."""

from __future__ import annotations

import json
from collections.abc import Mapping

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.archive.database import now_utc
from server.archive.tables import Event
from server.days.tables import ColumnChoice
from server.testday.roles import same_column

Choices = dict[str, list[str]]
TAKEN_OVER_EVENT = "roles-remembered"


def remember(session: Session, words: Mapping[str, str], who: str) -> None:
    """Keep role → column; a column that played another role before plays that one no more."""
    for role, column in words.items():
        others = session.scalars(select(ColumnChoice)).all()
        gone = [one.id for one in others if same_column(one.column_name, column)]
        session.execute(delete(ColumnChoice).where(ColumnChoice.id.in_(gone)))
        session.add(ColumnChoice(column_name=column, role=role, who=who, chosen_at=now_utc()))
        session.flush()


def choices(session: Session) -> Choices:
    """Role → the columns that played it, the newest word first."""
    found: Choices = {}
    newest = select(ColumnChoice).order_by(ColumnChoice.chosen_at.desc(), ColumnChoice.id.desc())
    for one in session.scalars(newest):
        found.setdefault(one.role, []).append(one.column_name)
    return found


def taken_over(session: Session, day_id: int, run: int) -> dict[str, str]:
    """Role → column that a run of a day took over from earlier days when it was added."""
    chosen = select(Event).where(Event.day_id == day_id, Event.kind == TAKEN_OVER_EVENT).order_by(Event.id)
    found: dict[str, str] = {}
    for event in session.scalars(chosen):
        found |= json.loads(event.after or "{}")["value"].get(str(run), {})
    return found
