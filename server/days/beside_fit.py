"""Changes of a day that its fit does not see: a revision by one of them asks for no new fit, and the result stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.json_sql import json_number
from server.archive.tables import Event
from server.days.tables import DayRevision

BESIDE_FIT = ("checks-acknowledged", "checklist-changed", "wanted-changed", "run-remarked")


def is_seen(session: Session, newest: DayRevision, fitted_id: int | None) -> bool:
    """Whether the result of a revision is that of the newest one: all changes between them are beside the fit."""
    if fitted_id is None:
        return False
    return newest.id == fitted_id or bool(seen_days(session, {newest.day_id: (fitted_id, newest.id)}))


def seen_days(session: Session, pairs: Mapping[int, tuple[int, int]]) -> set[int]:
    """Days whose result is that of their newest revision. pairs: day → keys of the fitted and the newest revision."""
    alike = {day_id for day_id, (fitted, newest) in pairs.items() if fitted == newest}
    apart = {day_id: pair for day_id, pair in pairs.items() if day_id not in alike}
    if not apart:
        return alike
    beside = _beside(session, apart.keys())
    keys = {key for pair in apart.values() for key in pair}
    rows = session.execute(select(DayRevision.id, DayRevision.number).where(DayRevision.id.in_(keys)))
    number = {key: found for key, found in rows}  # noqa: C416 - rows are no pairs to dict()
    return alike | {
        day_id
        for day_id, (fitted, newest) in apart.items()
        if set(range(number[fitted] + 1, number[newest] + 1)) <= beside[day_id]
    }


def _beside(session: Session, day_ids: Collection[int]) -> dict[int, set[int]]:
    """Day → numbers of its revisions that no fit sees."""
    number = json_number(Event.after, "revision")
    chosen = select(Event.day_id, number).where(Event.day_id.in_(day_ids), Event.kind.in_(BESIDE_FIT))
    found: dict[int, set[int]] = defaultdict(set)
    for day_id, revision in session.execute(chosen):
        found[day_id or 0].add(revision)
    return found
