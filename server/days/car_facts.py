"""Everything that somebody gave of a car on a day, as words and values that two days can be compared by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from server.days.calibration_forms import calibration_text
from server.days.car_forms import DRIVEN
from server.days.car_properties import AXLES, PLACES
from server.days.changes import plain
from server.days.form_fields import text_of
from server.days.table_forms import RATE_U, TABLES, axle_of, rate_u_text, rows_text
from server.testday.values import Axle, Car


@dataclass(frozen=True, slots=True)
class Given:
    """One thing that somebody gave of a car."""

    slug: str
    words: str
    value: Any
    text: str


def car_facts(car: Car) -> Iterator[Given]:
    """Everything that somebody gave of a car on a day."""
    for place in PLACES:
        given = place.of(car)
        if given is not None and given.source != "default":
            yield Given(place.slug, place.words, plain(given), text_of(given, place.property.unit))
    if car.corner_mass_kg is not None:
        text = ", ".join(f"{mass:g}" for mass in car.corner_mass_kg) + " kg"
        yield Given("corners", "Masses on the wheels", plain(car.corner_mass_kg), text)
    yield Given("driven", "The motor drives", car.driven, DRIVEN[car.driven])
    for axle in AXLES:
        yield from _axle_facts(axle, axle_of(car, axle))
    for role, calibration in car.calibration.items():
        words = f"Calibration of {role.replace('_', ' ')}"
        yield Given(f"calibration.{role}", words, plain(calibration), calibration_text(calibration))


def _axle_facts(axle: str, owner: Axle) -> Iterator[Given]:
    if owner.wheel_rate_rel_u is not None:
        words = f"{axle.capitalize()} axle: uncertainty of the wheel rate"
        yield Given(f"{axle}.{RATE_U}", words, owner.wheel_rate_rel_u, rate_u_text(owner))
    for name, (what, *_) in TABLES.items():
        if table := getattr(owner, name):
            yield Given(f"{axle}.{name}", f"{axle.capitalize()} axle: {what}", plain(table), rows_text(table))
