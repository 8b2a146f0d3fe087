"""What a person says of a table, typed and kept: a role and a unit for each column, and what holds for all of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from server.days.form_fields import FieldError, decimal_of
from server.readers.prediction_reading import U_FACTORS, Conventions, Reading
from server.readers.prediction_roles import ROLES, ColumnRole

LONGEST_UNIT = 24
LONGEST_TEXT = 80


@dataclass(frozen=True, slots=True)
class TypedNumber:
    """A number that holds for the whole table: its field, words, unit, the numbers that are taken, and a hint."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    hint: str = ""


NUMBERS = (
    TypedNumber("reference_area_m2", "Reference area of the coefficients", "m²", 0.001, 20,
                "As the solver had it: of a half car computed with half the area, the half."),
    TypedNumber("density_kgm3", "Air density of the forces", "kg/m³", 0.3, 2.5),
    TypedNumber("speed_mps", "Air speed", "m/s", 1, 150, "Of the forces, and told with each case."),
    TypedNumber("wheelbase_m", "Wheelbase", "m", 0.3, 6, "Parts a total between the axles by its pitching moment."),
    TypedNumber("moment_x_m", "Point of the pitching moment, behind the front axle", "m", -10, 10,
                "0 at the front axle, half the wheelbase in the middle."),
    TypedNumber("moment_z_m", "Point of the pitching moment, above the ground", "m", -1, 5,
                "Empty: on the ground. The drag turns the car about a higher one."),
    TypedNumber("moment_length_m", "Reference length of the moment's coefficient", "m", 0.01, 20,
                "Empty: the wheelbase."),
)  # fmt: skip
OF_THE_MOMENT = ("wheelbase_m", "moment_x_m", "moment_z_m", "moment_length_m")
CHOICES: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "vertical": (
        "Positive vertical force is",
        (("", "not said yet"), ("downforce", "downforce, towards the ground"), ("lift", "lift, away from the ground")),
    ),
    "car": ("Computed was", (("whole", "the whole car"), ("half", "half of it; everything is doubled"))),
    "u_is": (
        "Uncertainties in the table are",
        (
            ("u", "one standard uncertainty"),
            ("u95", "U95, half of a 95 % interval"),
            ("gci", "a grid convergence index"),
        ),
    ),
    "moment_positive": (
        "Positive pitching moment is",
        (("", "not said yet"), ("nose-up", "nose up"), ("nose-down", "nose down")),
    ),
    "decimal": ("Decimal mark", ((".", "point, 1.25"), (",", "comma, 1,25"))),
    "dimensions": ("The meshes have", (("3", "three dimensions"), ("2", "two dimensions"))),
}
TEXTS = {
    "setup": ("Setup, where no column says it", "The name that the car's test days use."),
    "part": ("Part of the car, where no column says it", "Empty: the whole car."),
}


def choices_of(reading: Reading) -> dict[str, Any]:
    """A reading as it is kept and as the form shows it."""
    said = reading.conventions
    numbers = {one.name: getattr(said, one.name) for one in NUMBERS} | {"moment_z_m": said.moment_z_m or None}
    return {
        "columns": [[one.role, one.unit] for one in reading.columns],
        "decimal": reading.decimal,
        "vertical": said.vertical,
        "car": said.car,
        "u_is": said.u_is,
        "moment_positive": said.moment_positive,
        "dimensions": str(said.dimensions),
        "setup": said.setup,
        "part": said.part,
        **{name: "" if value is None else f"{value:.10g}" for name, value in numbers.items()},
    }


def reading_of(choices: Mapping[str, Any], count: int) -> Reading:
    """What was said, for a table of so many columns; more columns than were said of are not used.

    Raises FieldError beside the field.
    """
    said = [_column(at, one) for at, one in enumerate(choices.get("columns", ())[:count])]
    columns = (*said, *(ColumnRole(),) * (count - len(said)))
    numbers = {one.name: _number(choices, one) for one in NUMBERS}
    chosen = {name: _choice(choices, name) for name in CHOICES}
    texts = {name: _text(choices, name) for name in TEXTS}
    conventions = Conventions(
        vertical=chosen["vertical"],
        car=chosen["car"],
        u_is=chosen["u_is"],
        moment_positive=chosen["moment_positive"],
        dimensions=int(chosen["dimensions"]),
        **texts,
        **{**numbers, "moment_z_m": numbers["moment_z_m"] or 0.0},  # type: ignore[arg-type]
    )
    return Reading(columns, chosen["decimal"], conventions)


def with_wheelbase(reading: Reading, wheelbase_m: float | None) -> Reading:
    """The reading with the car's own wheelbase where none was said."""
    if wheelbase_m is None or reading.conventions.wheelbase_m is not None:
        return reading
    return replace(reading, conventions=replace(reading.conventions, wheelbase_m=wheelbase_m))


def _column(at: int, said: Any) -> ColumnRole:
    role, unit = said
    if role and role not in ROLES:
        raise FieldError(f"role_{at}", f"“{role[:LONGEST_TEXT]}” is not what a column can be.")
    if len(unit) > LONGEST_UNIT:
        raise FieldError(f"unit_{at}", f"A unit has {LONGEST_UNIT} signs at most.")
    return ColumnRole(role, "" if role and ROLES[role].is_text else unit.strip())


def _number(choices: Mapping[str, Any], field: TypedNumber) -> float | None:
    number = decimal_of(str(choices.get(field.name, "")), field.name, field.label)
    if number is None:
        return None
    if not field.low <= float(number) <= field.high:
        limits = f"{field.low:g} and {field.high:g} {field.unit}"
        raise FieldError(field.name, f"{field.label} must lie between {limits}, not {float(number):g}.")
    return float(number)


def _choice(choices: Mapping[str, Any], name: str) -> str:
    words, options = CHOICES[name]
    usual = "whole" if name == "car" else options[0][0]
    value = str(choices.get(name, usual))
    if value not in [one for one, _ in options]:
        raise FieldError(name, f"“{words}” knows only: {', '.join(one or 'nothing' for one, _ in options)}.")
    return value


def _text(choices: Mapping[str, Any], name: str) -> str:
    text = " ".join(str(choices.get(name, "")).split())
    if len(text) > LONGEST_TEXT:
        raise FieldError(name, f"{TEXTS[name][0]}: {len(text)} signs; {LONGEST_TEXT} are taken.")
    return text


def said_words(reading: Reading) -> tuple[str, ...]:
    """What was said of the whole table, in sentences that stay with the set."""
    said, lines = reading.conventions, []
    if said.vertical:
        lines.append("Lift is positive in the table: the sign of vertical forces was turned." if said.vertical == "lift"
                     else "Downforce is positive in the table, as it is here.")  # fmt: skip
    if said.car == "half":
        lines.append("Half of the car was computed: everything was doubled.")
    for one in NUMBERS:
        value = getattr(said, one.name)
        if value is not None and (one.name not in OF_THE_MOMENT or reading.has("moment")):
            lines.append(f"{one.label}: {value:g} {one.unit}.")
    if any(one.role.endswith("_u") for one in reading.columns) and said.u_is != "u":
        over = 1.0 / U_FACTORS[said.u_is]
        lines.append(f"Uncertainties in the table were divided by {over:.4g} to be standard ones.")
    if said.moment_positive:
        lines.append(f"The pitching moment is positive {said.moment_positive.replace('-', ' ')}.")
    if reading.has("cells"):
        lines.append("Rows that differ by their cells alone are one case on several meshes; the finest stands for it.")
    return tuple(lines)
