"""The form about the masses on the four wheels: the front share and the car's mass follow from them."""

from __future__ import annotations

import math
from dataclasses import replace

from server.days.changes import Change, change_car, plain
from server.days.form_fields import FieldError, Form, Typed, number_field, typed_number
from server.testday import folder_keys as keys
from server.testday.defaults import FRONT_WEIGHT_U_WITHOUT_DRIVER, typed_u
from server.testday.values import Car, Day, Quantity

CORNERS = (("fl", "Front left"), ("fr", "Front right"), ("rl", "Rear left"), ("rr", "Rear right"))


def form(day: Day, slug: str) -> Form:
    """The form of `corners`."""
    car = day.car
    masses = car.corner_mass_kg or (None,) * 4
    fields = [
        number_field(name, words, keys.CORNER_MASS, mass, hint="" if name != "fl" else "All four on scales at once.")
        for (name, words), mass in zip(CORNERS, masses, strict=True)
    ]
    driver = "0 where nobody sat in it; the car's mass is then the sum of the four."
    fields.append(number_field("aboard", "Driver aboard on the scales", keys.DRIVER_ABOARD, None, hint=driver))
    now = "not given"
    if car.corner_mass_kg is not None:
        front = math.fsum(car.corner_mass_kg[:2]) / math.fsum(car.corner_mass_kg)
        now = f"{', '.join(f'{mass:g}' for mass in car.corner_mass_kg)} kg, {100 * front:.1f} % on the front axle"
    note = "They give the front share of the weight; with the driver's mass also the mass of the car."
    return Form(slug, "Masses on the four wheels", now, tuple(fields), help=note)


def change(day: Day, _: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    masses = []
    for name, words in CORNERS:
        mass = typed_number(typed, name, words, keys.CORNER_MASS)
        if mass is None:
            raise FieldError(name, f"{words} is missing; all four are needed.")
        masses.append(mass)
    aboard = typed_number(typed, "aboard", "The driver aboard", keys.DRIVER_ABOARD)
    total, each_u = math.fsum(masses), typed_u(keys.CORNER_MASS.field, math.fsum(masses) / 4)
    share = math.fsum(masses[:2]) / total
    if not keys.FRONT_WEIGHT.low <= share <= keys.FRONT_WEIGHT.high:
        raise FieldError("fl", f"That puts {100 * share:.0f} % on the front axle; is the order right?")
    share_u = FRONT_WEIGHT_U_WITHOUT_DRIVER if aboard == 0 else typed_u("front_weight", share)
    car = replace(day.car, corner_mass_kg=tuple(masses), front_weight=Quantity(share, share_u, "measured"))
    if aboard is not None:
        mass = total - aboard
        if not keys.MASS.low <= mass <= keys.MASS.high:
            raise FieldError("aboard", f"The four less the driver are {mass:g} kg; a car's mass cannot be that.")
        driver_u = typed_u(keys.DRIVER_ABOARD.field, aboard) if aboard else 0.0
        car = replace(car, mass_kg=Quantity(mass, math.hypot(2.0 * each_u, driver_u), "measured"))
    made = change_car(day, "corner_mass_kg", car.corner_mass_kg)
    return replace(
        made,
        day=replace(made.day, car=car),
        before=corner_values(day.car),
        after=corner_values(car),
        what=f"masses on the wheels: {', '.join(f'{mass:g}' for mass in masses)} kg, {100 * share:.1f} % in front",
    )


def corner_values(car: Car) -> object:
    """What the form speaks of, as JSON."""
    return plain((car.corner_mass_kg, car.front_weight, car.mass_kg))
