"""Events as a person reads them: chosen by person, day, kind and what they are about, page by page."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.tables import Event
from server.days.facts import briefs_of, newest_revisions
from server.history.brief import brief
from server.history.event_objects import objects_of
from server.history.objects import about
from server.testday.setting_names import as_said

EVENTS_A_PAGE = 50


@dataclass(frozen=True, slots=True)
class EventChoice:
    """Which events: of a person, a day, a kind, about a kind of thing or one of them; empty or None chooses all."""

    who: str = ""
    kind: str = ""
    day_id: int | None = None
    about: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class EventLine:
    """One event in words."""

    number: int
    at: str
    who: str
    kind: str
    day_id: int | None
    subject: str
    before: str
    after: str
    reason: str
    sha256: str
    objects: tuple[tuple[str, str], ...]


def conditions(archive: Archive, session: Session, choice: EventChoice) -> list[ColumnElement[bool]]:
    """What all events of a choice fulfil."""
    wanted = {Event.who: choice.who or None, Event.kind: choice.kind or None, Event.day_id: choice.day_id}
    found: list[ColumnElement[bool]] = [column == value for column, value in wanted.items() if value is not None]
    if choice.about:
        name = choice.name.strip()
        found.append(about(choice.about, name, _days_of_car(archive, session, choice.about, name)))
    return found


def _days_of_car(archive: Archive, session: Session, kind: str, name: str) -> list[int]:
    if kind != "car" or not name:
        return []
    newest = newest_revisions(session)
    cars = briefs_of(archive, session, newest.values())
    return [day_id for day_id, revision in newest.items() if cars[revision].car == name]


def chosen_events(
    archive: Archive, session: Session, choice: EventChoice, page: int = 1
) -> tuple[list[EventLine], int]:
    """The events of a page, the newest first, and how many there are in all."""
    fulfil = conditions(archive, session, choice)
    number = session.scalar(select(func.count(Event.id)).where(*fulfil)) or 0
    rows = select(Event).where(*fulfil).order_by(Event.id.desc())
    shown = session.scalars(rows.offset((page - 1) * EVENTS_A_PAGE).limit(EVENTS_A_PAGE))
    return [_line(event) for event in shown], number


def names_of(session: Session) -> tuple[list[str], list[str]]:
    """The people and the kinds that events name."""
    people, kinds = (list(session.scalars(select(c).distinct().order_by(c))) for c in (Event.who, Event.kind))
    return people, kinds


def readable(value: Any) -> str:
    """A JSON value as words: “setup A, logs logs/run01.csv”."""
    if isinstance(value, Mapping):
        return ", ".join(as_said(str(key), readable(one)) for key, one in value.items())
    if isinstance(value, list):
        return "; ".join(readable(one) for one in value) or "none"
    if value is None:
        return "nothing"
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _line(event: Event) -> EventLine:
    before, after = (_words(text) for text in (event.before, event.after))
    return EventLine(
        event.id,
        event.at[:19].replace("T", " "),
        event.who,
        event.kind,
        event.day_id,
        event.subject,
        before,
        after,
        event.reason,
        event.sha256[:12],
        tuple(objects_of(event)),
    )


def _words(text: str | None) -> str:
    return "" if text is None else brief(json.loads(text))
