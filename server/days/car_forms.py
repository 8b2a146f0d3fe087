"""Forms about a property of the car, which axle the motor drives, and what the car is called."""

from __future__ import annotations

from dataclasses import replace

from server.days.car_properties import BY_SLUG
from server.days.changes import Change, change_car
from server.days.form_fields import Field, FieldError, Form, Typed, one, quantity_field, text_of, typed_quantity
from server.testday.values import Day

DRIVEN = {"front": "the front axle", "rear": "the rear axle", "all": "both axles"}
OPTIONAL = {"spring_rate_n_per_m", "motion_ratio", "pushrod_ratio"}
LONGEST_NAME = 80


def form(day: Day, slug: str) -> Form:
    """The form of a property, by its slug."""
    place = BY_SLUG[slug]
    given, default, unit = place.of(day.car), place.default(day.car), place.property.unit
    now = text_of(given, unit)
    if given is not None and given.source == "default":
        now += ", a default because nobody gave it"
    field = quantity_field("value", place.words, place.property.key, given, unit=unit)
    clears = ""
    if default is not None and given != default:
        clears = "Nobody knows: take the default"
    elif default is None and given is not None and place.property.field in OPTIONAL:
        clears = "Take it away"
    return Form(slug, place.words, now, (field,), clears, help=f"How to measure it: {place.property.how}.")


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    place = BY_SLUG[slug]
    unit, before = place.property.unit, place.of(day.car)
    if one(typed, "do") == "clear" and form(day, slug).clears:
        after = place.default(day.car)
    else:
        if not one(typed, "value"):
            raise FieldError("value", f"{place.name} is missing; type a number.")
        after = typed_quantity(typed, "value", place.name, place.property.key, unit=unit, before=before)
    made = change_car(day, place.property.field, after, place.axle)
    return replace(made, what=f"{place.name[4:]}: {text_of(before, unit)} → {text_of(after, unit)}")


def driven_form(day: Day, slug: str) -> Form:
    """The form of `driven`."""
    field = Field("value", "The motor drives", "choice", day.car.driven, options=tuple(DRIVEN.items()))
    return Form(slug, "Driven axle", DRIVEN[day.car.driven], (field,))


def driven_change(day: Day, _: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    axle = one(typed, "value")
    if axle not in DRIVEN:
        raise FieldError("value", "The driven axle is front, rear or both.")
    return replace(change_car(day, "driven", axle), what=f"the motor drives {DRIVEN[axle]}")


def name_form(day: Day, slug: str) -> Form:
    """The form of `name`."""
    field = Field("value", "Name", "text", day.car.name, hint="Days with the same name are the same car's.")
    return Form(slug, "Name of the car", day.car.name or "no name", (field,))


def name_change(day: Day, _: str, typed: Typed) -> Change:
    """The change that the filled form asks for."""
    name = one(typed, "value")[:LONGEST_NAME]
    return replace(change_car(day, "name", name), what=f"the car is called {name or 'nothing'}")
