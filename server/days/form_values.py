"""A form's fields as JSON, for programs: numbers are numbers, what is not sent stays as it stands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from server.days import table_forms
from server.days.car_properties import AXLES, BY_SLUG
from server.days.form_fields import U_KINDS, Field, FieldError, Form, Typed
from server.testday.values import Day

LONGEST = 20_000
LARGEST = 1e15
MOST_CHECKS = 1000
ALONE = ("corners", "driven", "name", "day", "venue", "weather", "setup", "calibration")
ALONE = (*ALONE, "turn", "air", "checks", "zero", "checklist", "wanted")


def slugs_of(day: Day) -> tuple[str, ...]:
    """Every slug that a form of this day has."""
    tables = [f"{axle}.{name}" for axle in AXLES for name in table_forms.FIELDS]
    placed = [f"weather.{place}" for place in range(1, len(day.weather) + 1)]
    placed += [f"setup.{place}" for place in range(1, len(day.setups) + 1)]
    placed += [f"calibration.{role}" for role in sorted(day.car.calibration)]
    placed += [f"{kind}.{run.number}" for run in day.runs for kind in ("run", "remarks")]
    return (*BY_SLUG, *tables, *ALONE, *placed)


def field_values(field: Field) -> dict[str, Any]:
    """What stands in a field, under the names that `typed_of` takes."""
    if field.kind == "checks":
        return {field.name: list(field.chosen)}
    if field.kind == "corners":
        return {field.name: [_number_of(text) for text in field.chosen]}
    if field.kind == "number":
        return {field.name: _number_of(field.value)}
    if field.kind == "quantity":
        source = {f"{field.name}_source": field.source} if field.options else {}
        numbers = {field.name: _number_of(field.value), f"{field.name}_u": _number_of(field.u)}
        return {**numbers, f"{field.name}_u_is": field.u_is, **source}
    return {field.name: field.value}


def typed_of(form: Form, sent: Mapping[str, Any], *, clear: bool = False) -> Typed:
    """The form as if a person had filled it: as it stands, and over it what was sent.

    Raises FieldError for a name that the form does not have and for a value of another type.
    """
    known = {name: (field, value) for field in form.fields for name, value in field_values(field).items()}
    for name in sent:
        if name not in known:
            raise FieldError("", f"“{_safe(name)}” is not a field of “{form.title}”; it has {', '.join(known)}.")
    typed = {name: _written(name, field, sent.get(name, value)) for name, (field, value) in known.items()}
    return {**typed, "do": ("clear",)} if clear else typed


def _written(name: str, field: Field, value: Any) -> tuple[str, ...]:
    """A value as the form would send it. Raises FieldError."""
    if field.kind == "checks":
        options = [option for option, _ in field.options]
        _check(name, isinstance(value, list) and len(value) <= MOST_CHECKS, "must be a list")
        _check(name, all(isinstance(one, str) and one in options for one in value), f"knows only {', '.join(options)}")
        return tuple(value)
    if field.kind == "corners":
        _check(name, isinstance(value, list) and len(value) == len(field.options), "must be a list of four numbers")
        return tuple(_number_text(name, each) for each in value)
    if field.kind == "number" or (field.kind == "quantity" and name in (field.name, f"{field.name}_u")):
        return (_number_text(name, value),)
    if value is None:
        return ("",)
    _check(name, isinstance(value, str), "must be a text or null")
    _check(name, len(value) <= LONGEST, f"may have at most {LONGEST} signs")
    _check(name, _is_text(value), "holds signs that are no text")
    options = _options(name, field)
    _check(name, options is None or value in options, f"must be one of {', '.join(filter(None, options or ()))}")
    return (value,)


def _options(name: str, field: Field) -> list[str] | None:
    """What may stand there, None for anything."""
    if name == f"{field.name}_u_is":
        return [word for word, _ in U_KINDS]
    return [word for word, _ in field.options] if field.options else None


def _number_text(name: str, value: Any) -> str:
    if value is None:
        return ""
    _check(name, isinstance(value, int | float) and not isinstance(value, bool), "must be a number or null")
    _check(name, not isinstance(value, float) or math.isfinite(value), "must be a finite number")
    _check(name, abs(value) <= LARGEST, "is out of every range")
    return repr(value)


def _number_of(text: str) -> float | None:
    return float(text) if text else None


def _check(name: str, holds: bool, what: str) -> None:
    if not holds:
        raise FieldError(name, f"“{_safe(name)}” {what}.")


def _is_text(value: str) -> bool:
    return value.isprintable() or all(sign.isprintable() or sign in "\n\r\t" for sign in value)


def _safe(name: str) -> str:
    return name[:60].encode("utf-8", "replace").decode()
