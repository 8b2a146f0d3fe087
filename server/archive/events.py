"""The chain of events: who changed what when, each sealed with the one before it.

sha256 of an event = SHA-256 over the canonical JSON (keys sorted, no spaces, UTF-8) of all its other columns,
the previous event's sha256 among them; the first one's previous is 64 zeros. Taking an event out, altering it
or putting one in between breaks the chain there.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.database import now_utc, tell_news
from server.archive.entries import claim, current_entry
from server.archive.tables import Event

FIRST = "0" * 64
SEALED = ("id", "at", "who", "kind", "day_id", "subject", "before", "after", "reason", "previous_sha256")
PROGRAM = "Stillair"  # who, when nobody did it but the program itself


@dataclass(frozen=True, slots=True)
class ChainFault:
    """A place where the chain does not hold."""

    event_id: int
    text: str


def canonical(value: Any) -> str:
    """A JSON value as the one text that stands for it."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def seal(event: Event) -> str:
    """The sha256 that an event must carry."""
    return hashlib.sha256(canonical({name: getattr(event, name) for name in SEALED}).encode()).hexdigest()


def record(
    session: Session,
    *,
    who: str,
    kind: str,
    subject: str,
    day_id: int | None = None,
    before: Any = None,
    after: Any = None,
    reason: str = "",
    at: str = "",
) -> Event:
    """Append an event, in the transaction of the change that it tells of (which must be a writing one).

    kind: a slug; subject: what was changed, in words; before, after: JSON values, None where there is none.
    at: of an event that is carried from another archive, when it happened there.
    """
    entry = current_entry.get()
    if entry is not None and entry.late and isinstance(after, dict):
        after = {**after, "made_at": entry.made_at.isoformat(timespec="seconds")}
    last = session.scalar(select(Event).order_by(Event.id.desc()).limit(1))
    event = Event(
        id=last.id + 1 if last else 1,
        at=at or now_utc().isoformat(timespec="microseconds"),
        who=who,
        kind=kind,
        day_id=day_id,
        subject=subject,
        before=None if before is None else canonical(before),
        after=None if after is None else canonical(after),
        reason=reason,
        previous_sha256=last.sha256 if last else FIRST,
    )
    event.sha256 = seal(event)
    session.add(event)
    session.flush()
    claim(session, event)
    tell_news(session, day_id)
    return event


def chain_faults(session: Session) -> Iterator[ChainFault]:
    """Walk the whole chain and yield every place where it does not hold."""
    previous, number = FIRST, 0
    for event in session.scalars(select(Event).order_by(Event.id).execution_options(yield_per=1000)):
        number += 1
        if event.id != number:
            yield ChainFault(event.id, f"event {number} is missing")
            number = event.id
        if event.previous_sha256 != previous:
            yield ChainFault(event.id, f"event {event.id} does not follow the one before it")
        if seal(event) != event.sha256:
            yield ChainFault(event.id, f"event {event.id} was altered after it was sealed")
        previous = event.sha256


def head(session: Session) -> tuple[int, str]:
    """Number and sha256 of the newest event: written down elsewhere, it proves that none was cut off the end."""
    last = session.scalar(select(Event).order_by(Event.id.desc()).limit(1))
    return (last.id, last.sha256) if last else (0, FIRST)
