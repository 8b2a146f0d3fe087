"""Every form about a day by its slug, the name that its address has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from server.days import (
    air_forms,
    calibration_forms,
    car_forms,
    checks_forms,
    corner_forms,
    day_forms,
    remarks_forms,
    run_forms,
    setup_forms,
    table_forms,
    turn_forms,
    wanted_forms,
    weather_forms,
)
from server.days.car_properties import AXLES, BY_SLUG
from server.days.changes import Change, plain
from server.days.form_fields import Form, Typed
from server.errors import NotFoundError
from server.testday.values import Day


@dataclass(frozen=True, slots=True)
class Kind:
    """How a form is made, what it changes, and, for what belongs to the car on every day, its value as JSON."""

    form: Callable[[Day, str], Form]
    change: Callable[[Day, str, Typed], Change]
    value: Callable[[Day, str], Any] | None = None


def _property(day: Day, slug: str) -> Any:
    return plain(BY_SLUG[slug].of(day.car))


def _of_axle(day: Day, slug: str) -> Any:
    axle, _, name = slug.partition(".")
    return plain(getattr(table_forms.axle_of(day.car, axle), name))


def _calibration(day: Day, slug: str) -> Any:
    return plain(day.car.calibration.get(slug.partition(".")[2]))


PROPERTY = Kind(car_forms.form, car_forms.change, _property)
OF_AXLE = Kind(table_forms.form, table_forms.change, _of_axle)
KINDS = {
    "corners": Kind(corner_forms.form, corner_forms.change, lambda day, _: corner_forms.corner_values(day.car)),
    "driven": Kind(car_forms.driven_form, car_forms.driven_change, lambda day, _: day.car.driven),
    "name": Kind(car_forms.name_form, car_forms.name_change),
    "calibration": Kind(calibration_forms.form, calibration_forms.change, _calibration),
    "day": Kind(day_forms.form, day_forms.change),
    "venue": Kind(day_forms.venue_form, day_forms.venue_change),
    "weather": Kind(weather_forms.form, weather_forms.change),
    "setup": Kind(setup_forms.form, setup_forms.change),
    "run": Kind(run_forms.form, run_forms.change),
    "remarks": Kind(remarks_forms.form, remarks_forms.change),
    "turn": Kind(turn_forms.form, turn_forms.change),
    "air": Kind(air_forms.form, air_forms.change),
    "checks": Kind(checks_forms.checks_form, checks_forms.checks_change),
    "zero": Kind(checks_forms.zero_form, checks_forms.zero_change),
    "checklist": Kind(checks_forms.checklist_form, checks_forms.checklist_change),
    "wanted": Kind(wanted_forms.form, wanted_forms.change),
}
WITH_PLACE = {"calibration", "weather", "setup", "run", "remarks"}


def kind_of(slug: str) -> Kind:
    """The kind of form that a slug names. Raises NotFoundError."""
    head, _, rest = slug.partition(".")
    if slug in BY_SLUG:
        return PROPERTY
    if head in AXLES and rest in table_forms.FIELDS:
        return OF_AXLE
    if head in KINDS and (not rest or head in WITH_PLACE):
        return KINDS[head]
    raise NotFoundError(f"A day has nothing called {slug[:40]} that could be changed here.")


def form_of(day: Day, slug: str) -> Form:
    """The form about one thing of a day. Raises NotFoundError."""
    return kind_of(slug).form(day, slug)


def change_of(day: Day, slug: str, typed: Typed) -> Change:
    """The change that a filled form asks for. Raises FieldError beside a field, NotFoundError."""
    return kind_of(slug).change(day, slug, typed)


def shared_value(day: Day, slug: str) -> Any:
    """What stands there, as JSON, where it is the car's on every day; None for what is this day's own."""
    kind = kind_of(slug)
    return kind.value(day, slug) if kind.value else None
