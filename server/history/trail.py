"""The way from a number to its raw file, and one event in full: what stood before, what stands after."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.tables import Event, RawFile
from server.days.service import revision_files
from server.days.tables import DayRevision
from server.errors import NotFoundError
from server.history.service import readable


@dataclass(frozen=True, slots=True)
class Detail:
    """One value that an event tells of: where it stands, before, after; changed: whether they differ."""

    place: str
    before: str
    after: str
    changed: bool


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file of a revision: its hash, its size in bytes, and since when the archive holds these bytes.

    since: the number of the first revision of the day that has it so.
    """

    path: str
    sha256: str
    size_bytes: int
    stored: str
    since: int


def find_event(session: Session, number: int) -> Event:
    """The event. Raises NotFoundError."""
    event = session.get(Event, number)
    if event is None:
        raise NotFoundError(f"There is no event number {number}.")
    return event


def details(event: Event) -> list[Detail]:
    """Every value of the event in rows: one a place, nested ones by the way to them."""
    before, after = (dict(_places(_read(text))) for text in (event.before, event.after))
    return [
        Detail(place, before.get(place, ""), after.get(place, ""), before.get(place) != after.get(place))
        for place in dict.fromkeys([*before, *after])
    ]


def _read(text: str | None) -> Any:
    return None if text is None else json.loads(text)


def _places(value: Any, way: str = "") -> Iterator[tuple[str, str]]:
    """Place → words; what is neither table nor list of tables stands as it is."""
    if isinstance(value, Mapping):
        for key, one in value.items():
            yield from _places(one, f"{way}, {_words(key)}" if way else _words(key))
    elif isinstance(value, list) and any(isinstance(one, Mapping | list) for one in value):
        for number, one in enumerate(value, start=1):
            yield from _places(one, f"{way} {number}".strip())
    elif value is not None or way:
        yield way or "value", readable(value)


def _words(key: object) -> str:
    text = str(key)
    return text if "/" in text or "." in text else text.replace("_", " ")


def kept_files(session: Session, revision: DayRevision) -> list[KeptFile]:
    """The files of a revision with what is kept of each."""
    files = revision_files(session, revision.id)
    raw = {one.sha256: one for one in session.scalars(select(RawFile).where(RawFile.sha256.in_(files.values())))}
    since: dict[tuple[str, str], int] = {}
    earlier = select(DayRevision).where(DayRevision.day_id == revision.day_id, DayRevision.number <= revision.number)
    for one in session.scalars(earlier.order_by(DayRevision.number)):
        for pair in revision_files(session, one.id).items():
            since.setdefault(pair, one.number)
    return [
        KeptFile(
            path, sha256, raw[sha256].size_bytes, raw[sha256].stored_at.strftime("%Y-%m-%d %H:%M UTC"),
            since[path, sha256],
        )
        for path, sha256 in files.items()
    ]  # fmt: skip
