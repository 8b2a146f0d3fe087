"""A day signed off by a lead: from then on a change needs a reason and shows as an amendment.

Both are events of the day: the sign-off names the revision and the result that it stands for.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import record
from server.archive.tables import Event
from server.days.service import find_day, newest_revision
from server.errors import StillairError
from server.people import NOBODY

SIGNED, OPENED = "day-signed", "amendment-opened"
SHORTEST, LONGEST = 10, 2000
FROZEN = (
    "{who} signed this day off on {at} as revision {revision}. Give a reason for the change, "
    "or have a lead open an amendment on the page Sign-off."
)
NO_WORDS = "Say in a sentence what is signed: what was measured, and what may be built on it."
NO_REASON = "Say in a sentence why the day is opened again; it stands beside every change that follows."
NO_NAME = "A signature has a name: say first who is at this screen."
NO_RESULT = "This day has no result yet; there is nothing to sign."
MOVED_ON = "Revision {number} is the newest and is not fitted yet; wait for its result, then sign."
CAME_IN = "Result {number} came in while result {seen} was read; read it, then sign."
NOT_SIGNED = "This day is not signed off: it can be changed as it is."


@dataclass(frozen=True, slots=True)
class Amendment:
    """A change of a day after its sign-off."""

    event: int
    at: str
    who: str
    what: str
    reason: str


@dataclass(frozen=True, slots=True)
class SignOff:
    """The newest sign-off of a day. opened: the reason of the amendment that is open since, or empty."""

    event: int
    at: str
    who: str
    statement: str
    revision: int
    result: int
    result_sha256: str
    opened: str
    opened_by: str
    amendments: tuple[Amendment, ...]


def sign_off_of(session: Session, day_id: int) -> SignOff | None:
    """The sign-off that stands for a day, with what was changed since; None while it was never signed."""
    signed = session.scalar(_of_day(day_id).where(Event.kind == SIGNED).order_by(Event.id.desc()).limit(1))
    if signed is None:
        return None
    told = json.loads(signed.after or "{}")
    later = session.scalars(_of_day(day_id).where(Event.id > signed.id).order_by(Event.id)).all()
    opened = next((event for event in reversed(later) if event.kind == OPENED), None)
    return SignOff(
        event=signed.id,
        at=signed.at,
        who=signed.who,
        statement=told["statement"],
        revision=told["revision"],
        result=told["result"],
        result_sha256=told["result_sha256"],
        opened=opened.reason if opened else "",
        opened_by=opened.who if opened else "",
        amendments=tuple(_amendment(event) for event in later if _changes(event)),
    )


def reason_for(session: Session, day_id: int, reason: str) -> str:
    """The reason that a change of a day is kept with. Raises StillairError where a signed day is changed without."""
    standing = sign_off_of(session, day_id)
    if standing is None or reason.strip():
        return reason
    if not standing.opened:
        raise StillairError(FROZEN.format(who=standing.who, at=standing.at[:10], revision=standing.revision))
    return standing.opened


def sign(
    session: Session, day_id: int, *, result: tuple[int, int, str] | None, statement: str, who: str, seen: int = 0
) -> int:
    """Sign a day off as it stands; gives the event's number.

    result: number, revision's number and SHA-256 of the day's newest result. seen: the number of the result that was
    read, where a form tells it.
    """
    day, newest = find_day(session, day_id), newest_revision(session, day_id)
    words = statement.strip()[:LONGEST]
    if who == NOBODY:
        raise StillairError(NO_NAME)
    if result is None:
        raise StillairError(NO_RESULT)
    number, revision, sha256 = result
    if seen not in (0, number):
        raise StillairError(CAME_IN.format(number=number, seen=seen))
    if revision != newest.number:
        raise StillairError(MOVED_ON.format(number=newest.number))
    if len(words) < SHORTEST:
        raise StillairError(NO_WORDS)
    after = {"revision": revision, "result": number, "result_sha256": sha256, "statement": words}
    after["content_sha256"] = newest.content_sha256
    return record(session, who=who, kind=SIGNED, subject=day.name, day_id=day_id, after=after).id


def open_amendment(session: Session, day_id: int, *, reason: str, who: str) -> int:
    """Open a signed day for changes under one reason, until it is signed again; gives the event's number."""
    day, standing = find_day(session, day_id), sign_off_of(session, day_id)
    words = reason.strip()[:LONGEST]
    if standing is None:
        raise StillairError(NOT_SIGNED)
    if who == NOBODY:
        raise StillairError(NO_NAME)
    if len(words) < SHORTEST:
        raise StillairError(NO_REASON)
    before = {"signed": standing.event}
    return record(session, who=who, kind=OPENED, subject=day.name, day_id=day_id, before=before, reason=words).id


def _of_day(day_id: int):  # type: ignore[no-untyped-def]
    return select(Event).where(Event.day_id == day_id)


def _changes(event: Event) -> bool:
    """Whether an event made another revision, by a person or by the program."""
    told = json.loads(event.after or "null")
    return isinstance(told, dict) and "revision" in told and "result" not in told


def _amendment(event: Event) -> Amendment:
    return Amendment(event.id, event.at, event.who, f"{event.kind.replace('-', ' ')}: {event.subject}", event.reason)
