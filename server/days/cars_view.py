"""All cars over all days: what differs from one day to the next."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
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
from server.testday.values import Car


@dataclass(frozen=True, slots=True)
class Cell:
    """What a property was on a day; changed: it differs from the day before."""

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
    """A car by its name: its days, the earliest first, and the properties that were not the same on all of them."""

    name: str
    columns: tuple[tuple[str, str], ...]
    days: tuple[CarDay, ...]


@dataclass(frozen=True, slots=True)
class _Fact:
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
    slugs = list(dict.fromkeys(slug for _, facts in days for slug in facts))
    differing = [slug for slug in slugs if not _alike(facts.get(slug) for _, facts in days)]
    words = {slug: fact.words for _, facts in days for slug, fact in facts.items()}
    rows = []
    for place, (head, facts) in enumerate(days):
        before = days[place - 1][1] if place else facts
        cells = tuple(_cell(facts.get(slug), before.get(slug)) for slug in differing)
        rows.append(CarDay(head.id, head.name, head.date, cells))
    return CarOverDays(name, tuple((slug, words[slug]) for slug in differing), tuple(rows))


def _alike(facts: Iterable[_Fact | None]) -> bool:
    seen = [fact and fact.value for fact in facts]
    return all(one == seen[0] for one in seen)


def _cell(fact: _Fact | None, before: _Fact | None) -> Cell:
    changed = (fact and fact.value) != (before and before.value)
    return Cell(fact.text if fact else "not given", changed)


def _facts(car: Car) -> Iterator[_Fact]:
    """Everything that a car is on a day; a default is a fact as well."""
    for place in PLACES:
        given = place.of(car)
        text = text_of(given, place.property.unit) + (" (default)" if given and given.source == "default" else "")
        yield _Fact(place.slug, place.words, plain(given), text)
    corners = car.corner_mass_kg
    text = "not given" if corners is None else ", ".join(f"{mass:g}" for mass in corners) + " kg"
    yield _Fact("corners", "Masses on the wheels", plain(corners), text)
    yield _Fact("driven", "The motor drives", car.driven, DRIVEN[car.driven])
    for axle in AXLES:
        owner = axle_of(car, axle)
        words = f"{axle.capitalize()} axle: uncertainty of the wheel rate"
        yield _Fact(f"{axle}.{RATE_U}", words, owner.wheel_rate_rel_u, rate_u_text(owner))
        for name, (what, *_) in TABLES.items():
            table = getattr(owner, name)
            yield _Fact(f"{axle}.{name}", f"{axle.capitalize()} axle: {what}", plain(table), rows_text(table))
    for role, calibration in car.calibration.items():
        words = f"Calibration of {role.replace('_', ' ')}"
        yield _Fact(f"calibration.{role}", words, plain(calibration), calibration_text(calibration))
