"""Fields of a form about a day, and what a person typed into them: in units people at a track say, to SI and back.

Bounds are those of a day folder (`server.testday.folder_keys`); a number outside them is refused in the unit
of the field.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from server.errors import StillairError
from server.testday.defaults import typed_u
from server.testday.folder_keys import Key
from server.testday.quantities import UNITS, difference_from_si, difference_to_si, from_si, number_text, to_si
from server.testday.rounding import with_uncertainty
from server.testday.values import Quantity, Source

NORMAL_95 = 1.959964
LONGEST = 60
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,3})?")
MEASURED = (("measured", "measured on the car or at the track"), ("typed", "typed in from elsewhere"))
PREDICTED = (("typed", "typed in"), ("predicted", "from a prediction"))
U_KINDS = (("u", "one standard uncertainty u"), ("u95", "U95, half of the 95 % interval"))

Kind = Literal["number", "quantity", "text", "lines", "choice", "date", "checks", "taps", "corners"]
Typed = Mapping[str, tuple[str, ...]]


class FieldError(StillairError):
    """One sentence beside the field that it speaks of."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True)
class Field:
    """One field. A quantity also has an uncertainty, which kind of it, and a source; options are (value, words).

    taps: one of the options, each a button; corners: a number for each of the options, in `chosen`; remembered: words
    that are offered.
    """

    name: str
    label: str
    kind: Kind
    value: str = ""
    unit: str = ""
    hint: str = ""
    u: str = ""
    u_is: str = "u"
    source: str = "typed"
    options: tuple[tuple[str, str], ...] = ()
    chosen: tuple[str, ...] = ()
    problem: str = ""
    remembered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Form:
    """A form about one thing of a day. now: how that thing stands; clears: the words of the button that empties it;
    focus: whether its first field is where typing goes when it is shown."""

    slug: str
    title: str
    now: str
    fields: tuple[Field, ...]
    clears: str = ""
    send: str = "Keep"
    help: str = ""
    focus: bool = True


def one(typed: Typed, name: str) -> str:
    """What was typed into a field, blanks around it taken off."""
    values = typed.get(name, ())
    return values[0].strip() if values else ""


def refilled(form: Form, typed: Typed, refusal: FieldError | None) -> Form:
    """The form as it was sent, the refusal beside its field."""
    return replace(form, fields=tuple(_refilled(field, typed, refusal) for field in form.fields))


def _refilled(field: Field, typed: Typed, refusal: FieldError | None) -> Field:
    return replace(
        field,
        value=one(typed, field.name),
        u=one(typed, f"{field.name}_u"),
        u_is=one(typed, f"{field.name}_u_is") or "u",
        source=one(typed, f"{field.name}_source") or field.source,
        chosen=tuple(typed.get(field.name, ())),
        problem=str(refusal) if refusal and refusal.field == field.name else "",
    )


def number_field(name: str, label: str, key: Key, value: float | None, *, unit: str = "", hint: str = "") -> Field:
    """A plain number; value in SI, shown in `unit` (a key of UNITS), the folder's own where that is empty."""
    unit = unit or key.unit
    text = "" if value is None else short_text(from_si(value, unit))
    return Field(name, label, "number", text, UNITS[unit].shown, hint)


def quantity_field(
    name: str, label: str, key: Key, given: Quantity | None, *, unit: str = "", hint: str = "",
    sources: tuple[tuple[str, str], ...] = MEASURED,
) -> Field:  # fmt: skip
    """A value with its uncertainty; a default is not put into the field, where it would pass for somebody's word."""
    unit = unit or key.unit
    field = Field(name, label, "quantity", "", UNITS[unit].shown, hint, options=sources)
    if given is None or given.source == "default":
        return field
    usual = given.u == typed_u(key.field, given.value)
    return replace(
        field,
        value=short_text(from_si(given.value, unit)),
        u="" if usual else short_text(difference_from_si(given.u, unit)),
        source=given.source,
    )


def text_of(given: Quantity | None, unit: str) -> str:
    """A quantity as the page writes it: value ± U95 unit."""
    if given is None:
        return "not given"
    value, u = float(from_si(given.value, unit)), float(difference_from_si(given.u, unit))
    return with_uncertainty(value, NORMAL_95 * u, UNITS[unit].shown).replace("-", "−")


def short_text(number: Decimal) -> str:
    """A decimal with no zeros that say nothing: 1550, 0.0125."""
    return number_text(number).removesuffix(".0")


def typed_number(typed: Typed, name: str, label: str, key: Key, unit: str = "") -> float | None:
    """The number of a field in SI, None where it is empty. Raises FieldError."""
    unit = unit or key.unit
    written = decimal_of(one(typed, name), name, label)
    if written is None:
        return None
    check_range(written, name, label, key, unit)
    return to_si(written, unit)


def typed_quantity(
    typed: Typed, name: str, label: str, key: Key, *, unit: str = "", before: Quantity | None = None
) -> Quantity | None:
    """A value with its uncertainty in SI; an empty uncertainty is the one usual for a typed number.

    before: what stood there; its source stays where the form asks for none, and a default, which is not put into
    the field, stays where nothing is typed.
    """
    unit = unit or key.unit
    value = typed_number(typed, name, label, key, unit)
    u = decimal_of(one(typed, f"{name}_u"), name, f"The uncertainty of {_inside(label)}")
    if value is None:
        if u is not None:
            raise FieldError(name, f"{label} has an uncertainty but no value.")
        return before if before is not None and before.source == "default" else None
    source = one(typed, f"{name}_source") or (before.source if before else "typed")
    known: Source = next((word for word in ("measured", "predicted") if word == source), "typed")  # type: ignore[assignment]
    if u is None:
        return Quantity(value, typed_u(key.field, value), known)
    largest = _converted(Decimal(str(min(key.high - key.low, 1e9))), key.unit, unit, shifted=False)
    if not 0 <= u <= largest:
        limits = f"0 and {_bound(largest)}{_unit(unit)}"
        raise FieldError(name, f"The uncertainty of {_inside(label)} must lie between {limits}, not {_shown(u)}.")
    si = difference_to_si(u, unit)
    return Quantity(value, si / NORMAL_95 if one(typed, f"{name}_u_is") == "u95" else si, known)


def decimal_of(text: str, name: str, label: str) -> Decimal | None:
    """The digits of a text, with decimal point or comma; None for an empty one. Raises FieldError."""
    text = text.strip().replace("−", "-").replace("\u202f", "").replace("\u00a0", "").replace(" ", "")
    if not text:
        return None
    if not NUMBER.fullmatch(text):
        raise FieldError(name, f"{label} must be a number, not “{text[:LONGEST]}”.")
    return Decimal(text.replace(",", "."))


def check_range(written: Decimal, name: str, label: str, key: Key, unit: str) -> None:
    """Refuse a number outside the key's range, and say which unit was probably meant. Raises FieldError."""
    low, high = (_converted(Decimal(str(limit)), key.unit, unit) for limit in (key.low, key.high))
    if low <= written <= high:
        return
    limits = f"{_bound(low)} and {_bound(high)}{_unit(unit)}"
    raise FieldError(name, f"{label} must lie between {limits}, not {_shown(written)}{_hint(written, key, unit)}.")


def typed_pairs(
    text: str, name: str, first: tuple[Key, str], second: tuple[Key, str]
) -> tuple[tuple[float, float], ...]:
    """A table typed as lines of two numbers, in SI; the first column rises. Raises FieldError.

    first, second: key and how a sentence calls the column. Columns are parted by a blank, a tab or a semicolon.
    """
    pairs = [_pair(line, number, name, first, second) for number, line in _lines(text)]
    if len(pairs) == 1:
        raise FieldError(name, "A table needs two lines or more.")
    if any(b[0] <= a[0] for a, b in pairwise(pairs)):
        raise FieldError(name, f"The first column ({first[1]}) must rise from line to line.")
    return tuple(pairs)


def pairs_text(table: tuple[tuple[float, float], ...], first: str, second: str) -> str:
    """A table as lines of two numbers, in the units `first` and `second` (keys of UNITS)."""
    return "\n".join(f"{short_text(from_si(a, first))} {short_text(from_si(b, second))}" for a, b in table)


def _lines(text: str) -> list[tuple[int, str]]:
    return [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]


def _pair(line: str, number: int, name: str, first: tuple[Key, str], second: tuple[Key, str]) -> tuple[float, float]:
    cells = re.split(r"[;\s]+", line.strip().strip(";"))
    if len(cells) != 2:
        raise FieldError(name, f"Line {number} of the table must be two numbers, not “{line.strip()[:LONGEST]}”.")
    values = []
    for cell, (key, words) in zip(cells, (first, second), strict=True):
        label = f"{words[:1].upper()}{words[1:]} in line {number}"
        written = decimal_of(cell, name, label)
        assert written is not None
        check_range(written, name, label, key, key.unit)
        values.append(to_si(written, key.unit))
    return values[0], values[1]


def _converted(number: Decimal, has: str, wanted: str, *, shifted: bool = True) -> Decimal:
    """A number of one unit of UNITS in another of the same kind."""
    if has == wanted:
        return number
    si = to_si(number, has) if shifted else difference_to_si(number, has)
    return from_si(si, wanted) if shifted else difference_from_si(si, wanted)


def _hint(written: Decimal, key: Key, unit: str) -> str:
    """The unit in which an impossible number would make sense, as " (m?)"."""
    if unit == key.unit:
        return key.hint(float(written))
    within = Decimal(str(key.low)) <= written <= Decimal(str(key.high))
    return f" ({UNITS[key.unit].shown or 'a share of 1'}?)" if within else ""


def _bound(limit: Decimal) -> str:
    return f"{float(limit):,g}".replace("-", "−")


def _shown(number: Decimal) -> str:
    return short_text(number).replace("-", "−")


def _unit(unit: str) -> str:
    return f" {UNITS[unit].shown}" if UNITS[unit].shown else ""


def _inside(label: str) -> str:
    """A label in the middle of a sentence."""
    return label[:1].lower() + label[1:] if label[1:2].islower() else label
