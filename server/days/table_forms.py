"""Forms about an axle's tables and the uncertainty of its wheel rate."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from server.days.changes import Change, change_car
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
from server.testday import folder_keys as keys
from server.testday.values import Axle, Car, Day

TABLES = {
    "motion_ratio_table": ("motion ratio over wheel travel", (keys.TRAVEL, "travel"), (keys.MOTION_RATIO, "ratio")),
    "heave_table": ("heave spring and bump stops", (keys.TRAVEL, "travel"), (keys.AXLE_FORCE, "axle force")),
}
TABLE_HINTS = {
    "motion_ratio_table": "A line each: wheel travel [mm], damper travel over wheel travel. Bump counts positive.",
    "heave_table": "A line each: wheel travel [mm], force of the whole axle [N], besides the corner springs.",
}
RATE_U = "wheel_rate_rel_u"
FIELDS = (*TABLES, RATE_U)


def form(day: Day, slug: str) -> Form:
    """The form of `front.heave_table` and its like."""
    axle, _, name = slug.partition(".")
    owner = axle_of(day.car, axle)
    if name == RATE_U:
        field = number_field(
            "value", "Relative standard uncertainty", keys.WHEEL_RATE_REL_U, owner.wheel_rate_rel_u, unit="pct"
        )
        clears = "" if owner.wheel_rate_rel_u is None else "Take it away"
        return Form(slug, _title(axle, "how sure the wheel rate is"), rate_u_text(owner), (field,), clears)
    words, (first, _), (second, _) = TABLES[name]
    rows = getattr(owner, name)
    text = pairs_text(rows, first.unit, second.unit)
    field = Field("value", _title(axle, words), "lines", text, hint=TABLE_HINTS[name])
    return Form(slug, field.label, rows_text(rows), (field,), "Take it away" if rows else "")


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    axle, _, name = slug.partition(".")
    cleared = one(typed, "do") == "clear"
    if name == RATE_U:
        label = "The uncertainty of the wheel rate"
        share = None if cleared else typed_number(typed, "value", label, keys.WHEEL_RATE_REL_U, "pct")
        words = "follows from spring rate and motion ratio" if share is None else f"{100 * share:g} %"
        return replace(change_car(day, name, share, axle), what=f"{axle} axle: uncertainty of the wheel rate {words}")
    words, first, second = TABLES[name]
    rows = typed_pairs("" if cleared else one(typed, "value"), "value", first, second)
    if name == "heave_table" and any(b[1] < a[1] for a, b in pairwise(rows)):
        raise FieldError("value", "A force falls while the travel rises; a spring pushes back.")
    what = f"{axle} axle: {words} " + (f"now {len(rows)} lines" if rows else "taken away")
    return replace(change_car(day, name, rows, axle), what=what)


def axle_of(car: Car, axle: str) -> Axle:
    """The front or the rear axle."""
    return car.front if axle == "front" else car.rear


def rate_u_text(axle: Axle) -> str:
    """How sure the wheel rate is, in words."""
    share = axle.wheel_rate_rel_u
    return "follows from spring rate and motion ratio" if share is None else f"{100 * share:g} % (one standard u)"


def rows_text(rows: tuple[tuple[float, float], ...]) -> str:
    """How long a table is."""
    return f"{len(rows)} lines" if rows else "not given"


def _title(axle: str, words: str) -> str:
    return f"{axle.capitalize()} axle: {words}"
