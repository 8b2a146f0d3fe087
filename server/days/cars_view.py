"""All cars over all days: what differs from one day to the next."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.car_facts import Given
from server.days.facts import briefs_of, given_of, newest_revisions
from server.days.service import list_days


@dataclass(frozen=True, slots=True)
class Cell:
    """What a property was on a day, empty where nobody gave it; changed: it differs from the last one given."""

    text: str
    changed: bool


@dataclass(frozen=True, slots=True)
class CarDay:
    """A day of a car; cells stand in the order of the columns."""

    id: int
    name: str
    date: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class CarOverDays:
    """A car by its name: its days, the earliest first, and the properties that were not the same on all of them.

    partly: properties that were given on some days only, with the number of days.
    """

    name: str
    columns: tuple[tuple[str, str], ...]
    days: tuple[CarDay, ...]
    partly: tuple[tuple[str, int], ...]


def cars_over_days(archive: Archive, session: Session) -> tuple[CarOverDays, ...]:
    """Every car of the archive, by the newest revision of each day; days that can't be read are left out."""
    found: dict[str, list[tuple[CarDay, dict[str, Given]]]] = defaultdict(list)
    days = list_days(session)
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values())
    given = given_of(archive, session, newest.values())
    for stored in reversed(days):
        brief = briefs[newest[stored.id]]
        if brief.problem:
            continue
        head = CarDay(stored.id, stored.name, stored.date.isoformat() if stored.date else "no date", ())
        found[brief.car].append((head, {one.slug: one for one in given[newest[stored.id]]}))
    return tuple(_over_days(name, days) for name, days in sorted(found.items()))


def _over_days(name: str, days: list[tuple[CarDay, dict[str, Given]]]) -> CarOverDays:
    given: dict[str, list[Given]] = defaultdict(list)
    for _, facts in days:
        for slug, fact in facts.items():
            given[slug].append(fact)
    differing = [slug for slug, facts in given.items() if any(fact.value != facts[0].value for fact in facts)]
    last: dict[str, Given] = {}
    rows = []
    for head, facts in days:
        cells = tuple(_cell(facts.get(slug), last.get(slug)) for slug in differing)
        rows.append(CarDay(head.id, head.name, head.date, cells))
        last |= facts
    partly = tuple((facts[0].words, len(facts)) for facts in given.values() if len(facts) < len(days))
    return CarOverDays(name, tuple((slug, given[slug][0].words) for slug in differing), tuple(rows), partly)


def _cell(fact: Given | None, last: Given | None) -> Cell:
    changed = fact is not None and last is not None and fact.value != last.value
    return Cell(fact.text if fact else "", changed)
