"""A setup released to race by a lead: with which words, on which numbers; taken back with a reason.

Both are events of the archive, which tell the setup by its car, its name, its heights and its parts as recorded.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from hashlib import sha256

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import record
from server.archive.tables import Event
from server.days.season import SetupKey
from server.errors import StillairError
from server.people import NOBODY

RELEASED, TAKEN_BACK = "setup-released", "release-taken-back"
SHORTEST, LONGEST = 10, 2000
CODE_LENGTH = 16
NO_WORDS = "Say in a sentence what the setup is released for, and on what ground."
NO_REASON = "Say in a sentence why the release is taken back; it stands beside it from then on."
NO_NAME = "A release has a name: say first who is at this screen."
IS_RELEASED = "{name} is released already, by {who} on {at}; take that back first."
MOVED = "What stands of {name} moved while it was read; read the numbers of now, then release it."
NOT_RELEASED = "This setup is not released."


@dataclass(frozen=True, slots=True)
class Release:
    """A release that stands. told: the setup's values as they stood then, by quantity's words."""

    event: int
    at: str
    who: str
    statement: str
    code: str
    car: str
    name: str
    recorded: str
    told: Mapping[str, str]


def setup_code(key: SetupKey) -> str:
    """What names a setup in an address: the beginning of the SHA-256 of all that makes it one."""
    return sha256(json.dumps(asdict(key), sort_keys=True).encode()).hexdigest()[:CODE_LENGTH]


def standing_releases(session: Session) -> dict[str, Release]:
    """Releases that nobody has taken back, by the setup's code, the oldest first."""
    found: dict[str, Release] = {}
    for event in session.scalars(select(Event).where(Event.kind.in_((RELEASED, TAKEN_BACK))).order_by(Event.id)):
        told = json.loads(event.after if event.kind == RELEASED else event.before or "{}")
        if event.kind == TAKEN_BACK:
            found.pop(told["code"], None)
        else:
            found[told["code"]] = Release(event.id, event.at, event.who, **told)
    return found


def values_code(told: Mapping[str, str]) -> str:
    """What names values in a form, so that others than were read are not released."""
    return sha256(json.dumps(dict(told), sort_keys=True).encode()).hexdigest()[:CODE_LENGTH]


def release_setup(
    session: Session, key: SetupKey, *, statement: str, told: Mapping[str, str], who: str, seen: str = ""
) -> int:
    """Release a setup; gives the event's number. Raises StillairError.

    told: its values as they stand; seen: the code of those that were read, where a form tells it.
    """
    code, words = setup_code(key), statement.strip()[:LONGEST]
    before = standing_releases(session).get(code)
    if who == NOBODY:
        raise StillairError(NO_NAME)
    if before is not None:
        raise StillairError(IS_RELEASED.format(name=key.name, who=before.who, at=before.at[:10]))
    if seen and seen != values_code(told):
        raise StillairError(MOVED.format(name=key.name))
    if len(words) < SHORTEST:
        raise StillairError(NO_WORDS)
    after = {"code": code, "car": key.car, "name": key.name, "recorded": key.recorded, "statement": words, "told": told}
    return record(session, who=who, kind=RELEASED, subject=_subject(key.name, key.car), after=after).id


def take_back(session: Session, code: str, *, reason: str, who: str) -> int:
    """Take a release back; gives the event's number. Raises StillairError."""
    standing, words = standing_releases(session).get(code), reason.strip()[:LONGEST]
    if who == NOBODY:
        raise StillairError(NO_NAME)
    if standing is None:
        raise StillairError(NOT_RELEASED)
    if len(words) < SHORTEST:
        raise StillairError(NO_REASON)
    before = {"code": code, "released": standing.event}
    subject = _subject(standing.name, standing.car)
    return record(session, who=who, kind=TAKEN_BACK, subject=subject, before=before, reason=words).id


def _subject(name: str, car: str) -> str:
    return f"{name} of {car}" if car else name
