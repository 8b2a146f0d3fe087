"""Whether what others changed of a day forbids a change that was made of an earlier revision.

A day is laid out flat: run 3's driver is one thing, its notes another, and so is each reading of the air by its time.
A change made of an old revision is kept when it touches nothing else in the newest day than it did in the old one, and
nothing that others changed in between. What the same tablet sent in between is not others'.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.entries import current_entry, own_events
from server.days.change import Change, plain
from server.days.service import revision_files
from server.days.tables import DayRevision
from server.errors import StillairError
from server.testday.values import Day

KEYS = ("number", "name", "clock_s")  # what tells runs, setups, readings apart, wherever they stand in their list
MOST_REVISIONS = 60
Path = tuple[str, ...]
Reading = Callable[[Mapping[str, str]], Day]


def is_free(
    session: Session, day_id: int, change: Callable[[Day], Change], read: Reading, *, expected: int, newest: int
) -> bool:
    """Whether a change that was made of revision `expected` may be made of the newest one; read: files → day."""
    if not 0 < newest - expected <= MOST_REVISIONS:
        return False
    days = _days(session, day_id, read, expected)
    if len(days) != newest - expected + 1:
        return False
    try:
        meant = touched(days[0], change(days[0]).day)
        does = touched(days[-1], change(days[-1]).day)
    except StillairError:
        return False
    own = _own_revisions(session, day_id)
    steps = zip(range(expected + 1, newest + 1), days, days[1:], strict=False)
    others = {path for number, before, after in steps if number not in own for path in touched(before, after)}
    return does <= meant and not _meet(meant, others)


def touched(before: Day, after: Day) -> set[Path]:
    """The things of a day that are not the same in another."""
    old, new = dict(_flat(plain(before))), dict(_flat(plain(after)))
    return {path for path in old.keys() | new.keys() if old.get(path, _flat) != new.get(path, _flat)}


def _meet(mine: set[Path], others: set[Path]) -> bool:
    """Whether two sets speak of one thing, or of a part of one."""
    return any(a[: len(b)] == b or b[: len(a)] == a for a in mine for b in others)


def _flat(value: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Path → value of all that is not made of parts; a number with its uncertainty is one thing, an empty list none."""
    if isinstance(value, Mapping) and "u" not in value:
        for key, one in value.items():
            yield from _flat(one, (*path, key))
    elif isinstance(value, list) and value and (key := _key_of(value)):
        for one in value:
            yield from _flat(one, (*path, f"{key} {one[key]}"))
    elif value != []:
        yield path, value


def _key_of(values: list[Any]) -> str | None:
    """What tells the members of a list apart; None where nothing does."""
    for key in KEYS:
        if all(isinstance(one, Mapping) and key in one for one in values):
            named = [str(one[key]) for one in values]
            return key if len(set(named)) == len(named) else None
    return None


def _days(session: Session, day_id: int, read: Reading, first: int) -> list[Day]:
    chosen = select(DayRevision.id).where(DayRevision.day_id == day_id, DayRevision.number >= first)
    ids = list(session.scalars(chosen.order_by(DayRevision.number)))
    return [read(revision_files(session, revision_id)) for revision_id in ids]


def _own_revisions(session: Session, day_id: int) -> set[int]:
    entry = current_entry.get()
    if entry is None:
        return set()
    return {number for event in own_events(session, entry.tablet, day_id) if (number := _revision(event.after))}


def _revision(after: str | None) -> int | None:
    told = json.loads(after) if after else None
    number = told.get("revision") if isinstance(told, dict) else None
    return number if isinstance(number, int) else None
