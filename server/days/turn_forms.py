"""A setup typed in as a change to another: what was turned, to what or by how much; ballast in or out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal, InvalidOperation

from server.days.change import Change, find_setup
from server.days.form_fields import Field, FieldError, Form, Typed, number_field, one, typed_quantity
from server.days.setup_changes import add_setup
from server.days.setup_forms import LONGEST_NAME, LONGEST_TEXT, next_name, typed_part
from server.days.setup_words import Part, differences_text, part_text
from server.errors import NotFoundError
from server.testday import folder_keys as keys
from server.testday.values import Day, Setup

ROWS = 3
TURNED_HINT = "A wing, a flap, a part: names that were used before are offered."
TO_HINT = "Its new setting: a word, an angle, yes or no. With + or − by how much: +2."
BALLAST_HINT = "All that is aboard in this setup, on top of the car's mass."


def form(day: Day, slug: str) -> Form:
    """A new setup against the one that was driven last. Raises NotFoundError for a day without any."""
    if not day.setups:
        raise NotFoundError("This day has no setup that another could change.")
    base = day.runs[-1].setup if day.runs else day.setups[0].name
    named = day.setups[0].name
    rows = [field for row in range(1, ROWS + 1) for field in _row(row, day)]
    fields = (
        Field("name", "Name", "text", next_name(day, "")),
        Field("baseline", "Changed from", "choice", named, options=tuple((s.name, s.name) for s in day.setups)),
        *rows,
        number_field("ballast", "Ballast", keys.BALLAST, None, hint=BALLAST_HINT),
        Field("notes", "Notes", "text"),
    )
    now = f"driven last: {base}, {differences_text(day, find_setup(day, base))}"
    return Form(slug, "A setup, by what was turned", now, fields, send="Keep this setup")


def _row(row: int, day: Day) -> tuple[Field, ...]:
    names = tuple(sorted({name for setup in day.setups for name in setup.parts}))
    settings = sorted({part_text(part) for setup in day.setups for part in setup.parts.values()})
    return (
        Field(f"part_{row}", f"Turned or fitted {row}", "text", hint=TURNED_HINT if row == 1 else "", remembered=names),
        Field(f"to_{row}", f"to, or by {row}", "text", hint=TO_HINT if row == 1 else "", remembered=tuple(settings)),
    )


def with_remembered(form_: Form, names: Iterable[str], settings: Iterable[str]) -> Form:
    """The form with names and settings of other days offered, too."""
    more = {"part": tuple(names), "to": tuple(settings)}
    fields = (
        replace(field, remembered=tuple(sorted({*field.remembered, *more[head]})))
        if (head := field.name.partition("_")[0]) in more
        else field
        for field in form_.fields
    )
    return replace(form_, fields=tuple(fields))


def change(day: Day, _slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    name, baseline = one(typed, "name"), one(typed, "baseline")
    if not name or len(name) > LONGEST_NAME:
        raise FieldError("name", f"A setup needs a name of at most {LONGEST_NAME} signs, such as a letter.")
    if name in {setup.name for setup in day.setups}:
        raise FieldError("name", f"Setup “{name}” is there already; give this one a name of its own.")
    base = next((setup for setup in day.setups if setup.name == baseline), None)
    if base is None:
        raise FieldError("baseline", "The setup that was changed must be one of this day.")
    turned = _turned(typed, base)
    ballast = typed_quantity(typed, "ballast", "Ballast", keys.BALLAST) or base.ballast_kg
    if not turned and ballast == base.ballast_kg:
        raise FieldError("part_1", "Say what was turned or fitted, or the ballast; else it is the other setup.")
    parts = {**base.parts, **turned}
    notes = one(typed, "notes")[:LONGEST_TEXT]
    setup = replace(base, name=name, baseline=base.name, parts=parts, ballast_kg=ballast, notes=notes)
    return add_setup(day, _without_areas(setup))


def _without_areas(setup: Setup) -> Setup:
    """What was typed of the other setup's downforce says nothing of this one's."""
    return replace(setup, scz_front_m2=None, scz_rear_m2=None)


def _turned(typed: Typed, base: Setup) -> dict[str, Part]:
    parts: dict[str, Part] = {}
    for row in range(1, ROWS + 1):
        name, to = one(typed, f"part_{row}")[:LONGEST_TEXT], one(typed, f"to_{row}")[:LONGEST_TEXT]
        if not name and not to:
            continue
        if not name:
            raise FieldError(f"part_{row}", f"Say what was turned to “{to[:40]}”.")
        if not to:
            raise FieldError(f"to_{row}", f"Say what {name[:40]} was turned to, or by how much.")
        if name in parts:
            raise FieldError(f"part_{row}", f"{name[:40]} stands there twice.")
        parts[name] = _setting(base.parts.get(name), to, row, name)
    return parts


def _setting(was: Part | None, to: str, row: int, name: str) -> Part:
    """What it is turned to; +2 or −2 moves the number that the other setup has."""
    text = to.replace("−", "-").replace(",", ".")
    if text[:1] not in {"+", "-"}:
        return typed_part(to)
    try:
        step = float(Decimal(text.replace(" ", "")))
    except InvalidOperation:
        return typed_part(to)
    if isinstance(was, float):
        return round(was + step, 9)
    if text.startswith("-"):
        return step  # an angle below nil, where none was known
    raise FieldError(f"to_{row}", f"{name[:40]} has no number in the other setup that {to[:20]} could be added to.")
