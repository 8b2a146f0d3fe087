"""Entries that a tablet kept until it reached the server: each has an id of its own and is kept once.

The id is written in the transaction of the write itself, by `events.record` and `jobs.add_job`. Sent again after a lost
answer, or after the server died at whatever moment, an entry is either there with its write or neither is.
"""

from __future__ import annotations

import datetime as dt
from contextvars import ContextVar
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.database import after_commit, now_utc
from server.archive.tables import Event, KeptEntry

LATE_S = 10.0  # an entry that is older when it comes in carries the time at which it was made into its event
CLAIMED = "claimed entry"


class AlreadyKeptError(Exception):
    """The entry was kept before; nothing of this request may be."""


@dataclass(slots=True)
class Entry:
    """The entry that a request brings. kept: its write is in the database; conflict: the revision that forbade it."""

    id: str
    tablet: str
    made_at: dt.datetime
    kept: bool = False
    conflict: int | None = None

    @property
    def late(self) -> bool:
        """Whether it was made some time before it came in."""
        return (now_utc() - self.made_at).total_seconds() > LATE_S


current_entry: ContextVar[Entry | None] = ContextVar("current_entry", default=None)


def made_at() -> dt.datetime:
    """When what this request brings was entered, on the server's clock: now, unless a tablet kept it for a while."""
    entry = current_entry.get()
    return entry.made_at if entry else now_utc()


def claim(session: Session, event: Event | None) -> None:
    """Keep the id of the request's entry, in the open write transaction. Raises AlreadyKeptError.

    A request that writes in several transactions keeps it in the first.
    """
    entry = current_entry.get()
    if entry is None or entry.kept:
        return
    row = session.info.get(CLAIMED)
    if row is not None:
        row.event_id = row.event_id or (event.id if event else None)
        return
    if session.get(KeptEntry, entry.id) is not None:
        raise AlreadyKeptError(entry.id)
    row = KeptEntry(
        id=entry.id, tablet=entry.tablet, event_id=event.id if event else None, made_at=entry.made_at
    )
    session.add(row)
    session.flush()
    session.info[CLAIMED] = row
    after_commit(session, lambda: setattr(entry, "kept", True))


def own_events(session: Session, tablet: str, day_id: int) -> list[Event]:
    """What a tablet's entries changed of a day."""
    of_tablet = select(Event).join(KeptEntry, KeptEntry.event_id == Event.id).where(KeptEntry.tablet == tablet)
    return list(session.scalars(of_tablet.where(Event.day_id == day_id)))
