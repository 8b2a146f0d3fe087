"""All cars over all days: what differs from one day to the next."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.calibration_forms import calibration_text
from server.days.car_forms import DRIVEN
from server.days.car_properties import AXLES, PLACES
from server.days.changes import plain
from server.days.form_fields import text_of
from server.days.revisions import newest_day
from server.days.service import list_days
from server.days.table_forms import RATE_U, TABLES, axle_of, rate_u_text, rows_text
from server.errors import StillairError
from server.testday.values import Axle, Car


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


@dataclass(frozen=True, slots=True)
class _Fact:
    """One thing that somebody gave of a car."""

    slug: str
    words: str
    value: Any
    text: str


def cars_over_days(archive: Archive, session: Session) -> tuple[CarOverDays, ...]:
    """Every car of the archive, by the newest revision of each day; days that can't be read are left out."""
    found: dict[str, list[tuple[CarDay, dict[str, _Fact]]]] = defaultdict(list)
    for stored in reversed(list_days(session)):
        try:
            car = newest_day(archive, session, stored.id)[1].car
        except StillairError:
            continue
        head = CarDay(stored.id, stored.name, stored.date.isoformat() if stored.date else "no date", ())
        found[car.name].append((head, {fact.slug: fact for fact in _facts(car)}))
    return tuple(_over_days(name, days) for name, days in sorted(found.items()))


def _over_days(name: str, days: list[tuple[CarDay, dict[str, _Fact]]]) -> CarOverDays:
    given: dict[str, list[_Fact]] = defaultdict(list)
    for _, facts in days:
        for slug, fact in facts.items():
            given[slug].append(fact)
    differing = [slug for slug, facts in given.items() if any(fact.value != facts[0].value for fact in facts)]
    last: dict[str, _Fact] = {}
    rows = []
    for head, facts in days:
        cells = tuple(_cell(facts.get(slug), last.get(slug)) for slug in differing)
        rows.append(CarDay(head.id, head.name, head.date, cells))
        last |= facts
    partly = tuple((facts[0].words, len(facts)) for facts in given.values() if len(facts) < len(days))
    return CarOverDays(name, tuple((slug, given[slug][0].words) for slug in differing), tuple(rows), partly)


def _cell(fact: _Fact | None, last: _Fact | None) -> Cell:
    changed = fact is not None and last is not None and fact.value != last.value
    return Cell(fact.text if fact else "", changed)


def _facts(car: Car) -> Iterator[_Fact]:
    """Everything that somebody gave of a car on a day."""
    for place in PLACES:
        given = place.of(car)
        if given is not None and given.source != "default":
            yield _Fact(place.slug, place.words, plain(given), text_of(given, place.property.unit))
    if car.corner_mass_kg is not None:
        text = ", ".join(f"{mass:g}" for mass in car.corner_mass_kg) + " kg"
        yield _Fact("corners", "Masses on the wheels", plain(car.corner_mass_kg), text)
    yield _Fact("driven", "The motor drives", car.driven, DRIVEN[car.driven])
    for axle in AXLES:
        yield from _axle_facts(axle, axle_of(car, axle))
    for role, calibration in car.calibration.items():
        words = f"Calibration of {role.replace('_', ' ')}"
        yield _Fact(f"calibration.{role}", words, plain(calibration), calibration_text(calibration))


def _axle_facts(axle: str, owner: Axle) -> Iterator[_Fact]:
    if owner.wheel_rate_rel_u is not None:
        words = f"{axle.capitalize()} axle: uncertainty of the wheel rate"
        yield _Fact(f"{axle}.{RATE_U}", words, owner.wheel_rate_rel_u, rate_u_text(owner))
    for name, (what, *_) in TABLES.items():
        if table := getattr(owner, name):
            yield _Fact(f"{axle}.{name}", f"{axle.capitalize()} axle: {what}", plain(table), rows_text(table))
