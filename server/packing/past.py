"""The history that a packed season carries: the events of its days and cars, each with its own seal."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.events import SEALED, seal
from server.archive.tables import Event
from server.correlation.margins import CHANGED
from server.days.release import RELEASED, TAKEN_BACK
from server.errors import UploadError
from server.history.objects import OBJECTS
from server.packing.choosing import Chosen
from server.plans.plan_job import PLANNED
from server.predictions.service import ADDED, ENDED, MATCHED

SHA256 = re.compile(r'"([0-9a-f]{64})"')
IN_PARTS = 500
ALTERED = "Event {number} in the packed history was altered after it was sealed; nothing was unpacked."
OTHERS = "Event {number} in the packed history is of the kind {kind}, which belongs to no season; nothing was unpacked."
OF_CARS = (ADDED, ENDED, MATCHED, CHANGED, RELEASED, TAKEN_BACK, PLANNED)
NEVER_CARRIED = frozenset(kind for thing in ("account", "file", "archive") for kind in OBJECTS[thing].events)
NO_EVENT = "The packed history holds a line that tells no event; nothing was unpacked."


def carried_events(session: Session, chosen: Chosen) -> Iterator[Event]:
    """In the order in which they came."""
    days = set(chosen.ids)
    for event in session.scalars(select(Event).order_by(Event.id).execution_options(yield_per=IN_PARTS)):
        if event.day_id in days or _of_a_car(event, chosen):
            yield event


def _of_a_car(event: Event, chosen: Chosen) -> bool:
    after = json.loads(event.after or "null")
    after = after if isinstance(after, dict) else {}
    if event.kind == ADDED:
        return after.get("row", {}).get("id") in chosen.sets
    if event.kind == ENDED:
        return after.get("row", {}).get("set_id") in chosen.sets
    if event.kind == MATCHED:
        return after.get("car") in chosen.cars
    if event.kind == CHANGED:
        return event.subject.removeprefix("margins of ") in chosen.cars
    if event.kind in (RELEASED, TAKEN_BACK):
        return chosen.whole or event.subject.endswith(tuple(f" of {car}" for car in chosen.cars))
    return chosen.whole and event.kind == PLANNED  # a plan may name a day that it was made like


def event_line(event: Event) -> dict[str, Any]:
    """An event as its line has it: all that its seal covers, and the seal."""
    return {**{name: getattr(event, name) for name in SEALED}, "sha256": event.sha256}


def hashes_told(event: Event) -> set[str]:
    """What looks like a SHA-256 in what an event tells."""
    return set(SHA256.findall(f"{event.before or ''} {event.after or ''}"))


def event_of(line: Mapping[str, Any]) -> Event:
    """The event of a line. Raises UploadError where its seal is not that of its words, or no season has such events."""
    if set(line) != {*SEALED, "sha256"} or not isinstance(line["id"], int):
        raise UploadError(NO_EVENT)
    event = Event(**dict(line))
    if seal(event) != line["sha256"]:
        raise UploadError(ALTERED.format(number=line["id"]))
    if event.kind in NEVER_CARRIED or (event.day_id is None and event.kind not in OF_CARS):
        raise UploadError(OTHERS.format(number=line["id"], kind=str(event.kind)[:40]))
    return event
