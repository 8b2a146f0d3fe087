"""Forms about a sensor's calibration: gain and offset, or a table."""

from __future__ import annotations

from dataclasses import replace

from server.days.changes import Change, change_calibration
from server.days.form_fields import (
    Field,
    FieldError,
    Form,
    Typed,
    number_field,
    one,
    pairs_text,
    typed_number,
    typed_pairs,
)
from server.errors import NotFoundError
from server.testday import folder_keys as keys
from server.testday.role_table import ROLE_NAMES
from server.testday.units import UnknownUnitError, unit_of
from server.testday.values import SLOPE_REL_U, Calibration, Day

SENSOR_ROLES = tuple(role for role in ROLE_NAMES if role != "time")


def form(day: Day, slug: str) -> Form:
    """The form of `calibration.ROLE`, or of `calibration` for a sensor that has none. Raises NotFoundError."""
    car = day.car
    role = slug.partition(".")[2]
    if role and role not in SENSOR_ROLES:
        raise NotFoundError(f"No channel plays a role called {role[:40]}.")
    there = car.calibration.get(role) if role else None
    given = there or Calibration()
    names = tuple((name, name.replace("_", " ")) for name in SENSOR_ROLES if name not in car.calibration)
    fields = () if role else (Field("role", "Sensor", "choice", "", options=names),)
    fields += (
        number_field("gain", "Gain", keys.GAIN, given.gain, hint="value = gain × reading + offset"),
        number_field("offset", "Offset", keys.OFFSET, given.offset or None),
        Field("table", "Or a table", "lines", pairs_text(given.table, "", ""), hint="A line each: reading, value."),
        Field("unit", "Unit", "text", given.unit, hint="Of the value, such as mm, or of the gain, such as mm/V."),
        number_field(
            "gain_rel_u", "Relative standard uncertainty of the slope", keys.GAIN_REL_U, given.gain_rel_u, unit="pct",
            hint=f"Where nothing is said, {100 * SLOPE_REL_U:g} %.",
        ),
    )
    title = f"Calibration of {role.replace('_', ' ')}" if role else "A sensor's calibration"
    return Form(slug, title, calibration_text(there), fields, "Take it away" if there else "")


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    role = slug.partition(".")[2] or one(typed, "role")
    if role not in SENSOR_ROLES:
        raise FieldError("role", "Choose the sensor that this is the calibration of.")
    if one(typed, "do") == "clear":
        return change_calibration(day, role, None)
    gain = typed_number(typed, "gain", "The gain", keys.GAIN)
    offset = typed_number(typed, "offset", "The offset", keys.OFFSET)
    reading = (keys.READING, "reading"), (keys.READING, "value")
    table = typed_pairs(one(typed, "table"), "table", *reading)
    if gain == 0:
        raise FieldError("gain", "A gain of 0 would make the sensor tell nothing.")
    if gain is None and offset is None and not table:
        raise FieldError("gain", "Give a gain, an offset or a table.")
    if table and (gain is not None or offset is not None):
        raise FieldError("table", "Give either gain and offset or a table, not both.")
    sure = typed_number(typed, "gain_rel_u", "The uncertainty of the slope", keys.GAIN_REL_U, "pct")
    unit = _unit(one(typed, "unit"))
    given = Calibration(gain, offset or 0.0, table, unit, sure)
    made = change_calibration(day, role, given)
    return replace(made, what=f"{made.what}: {calibration_text(given)}")


def calibration_text(given: Calibration | None) -> str:
    """A calibration in one line."""
    if given is None:
        return "not given"
    unit = f" {given.unit}" if given.unit else ""
    sure = f", slope ± {196 * given.slope_rel_u:.2g} %"
    if given.table:
        return f"a table of {len(given.table)} lines{unit}{sure}"
    gain = 1.0 if given.gain is None else given.gain
    return f"gain {gain:g}{unit}" + (f", offset {given.offset:g}" if given.offset else "") + sure


def _unit(text: str) -> str:
    if text:
        try:
            unit_of(text)
        except UnknownUnitError as error:
            raise FieldError("unit", str(error)) from error
    return text
