"""Forms about setups: one is added; one that nobody drove is changed; one that was run is revised beside itself."""

from __future__ import annotations

import re

from server.days.changes import Change, add_setup, revise_setup, runs_of
from server.days.form_fields import (
    PREDICTED,
    Field,
    FieldError,
    Form,
    Typed,
    number_field,
    one,
    quantity_field,
    typed_number,
    typed_quantity,
)
from server.days.setup_words import Part, differences_text, part_text
from server.errors import NotFoundError
from server.testday import folder_keys as keys
from server.testday.values import Day, Setup

LONGEST_NAME = 40
LONGEST_TEXT = 400
MOST_PARTS = 100
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")
ENDS = ("front", "rear")
BALLAST_HINT = "Aboard in this setup, on top of the car's mass. The fit counts its mass, not where it sits."


def form(day: Day, slug: str) -> Form:
    """The form of `setup.2`, the second setup, or of `setup`, a new one. Raises NotFoundError."""
    old = setup_of(day, slug)
    driven = runs_of(day, old.name) if old else []
    shown = old or Setup("", day.setups[0].name if day.setups else None)
    name = next_name(day, old.name if old else "") if driven or not old else shown.name
    fields = (Field("name", "Name", "text", name), *_fields(day, shown, old))
    if driven and old:
        runs = tuple((str(number), f"run {number}") for number in driven)
        really = "Those that were really driven in the revised setup; the others stay where they are."
        fields += (Field("runs", "Runs to move to it", "checks", options=runs, hint=really),)
        numbers = ", ".join(map(str, driven))
        help_ = f"Setup {old.name} was driven in run{'s' if len(driven) > 1 else ''} {numbers}, so it stays as it is."
        return Form(slug, f"Revise setup {old.name}", differences_text(day, old), fields, "", "Keep as revised", help_)
    title = f"Change setup {old.name}" if old else "A new setup"
    help_ = "Nobody has driven it yet, so it can still be changed." if old else ""
    now = differences_text(day, old) if old else f"{len(day.setups)} setups"
    return Form(slug, title, now, fields, "", "Keep" if old else "Add", help_)


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError, NotFoundError."""
    old = setup_of(day, slug)
    setup = _typed_setup(day, typed, old)
    taken = [one_.name for one_ in day.setups if old is None or one_ is not old]
    if setup.name in taken:
        raise FieldError("name", f"Setup “{setup.name}” is there already; give this one a name of its own.")
    if old is None:
        return add_setup(day, setup)
    if runs_of(day, old.name) and setup.name == old.name:
        raise FieldError("name", f"Setup {old.name} was run and stays as it is; give the revised one its own name.")
    numbers = tuple(int(text) for text in typed.get("runs", ()) if text.isascii() and text.isdigit())
    return revise_setup(day, old.name, setup, numbers)


def setup_of(day: Day, slug: str) -> Setup | None:
    """The setup that a slug names by its place, counted from 1; None for a new one. Raises NotFoundError."""
    number = slug.partition(".")[2]
    if not number:
        return None
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= len(day.setups):
        raise NotFoundError(f"This day has no setup number {number[:20]}.")
    return day.setups[int(number) - 1]


def next_name(day: Day, name: str) -> str:
    """A name for a new or revised setup: the letter after the last one, or the old name with a number."""
    names = {setup.name for setup in day.setups}
    letters = [one_ for one_ in names if len(one_) == 1 and one_.upper() in LETTERS]
    if not name or len(name) == 1:
        last = max((LETTERS.index(letter.upper()) for letter in letters), default=-1)
        if last + 1 < len(LETTERS):
            return LETTERS[last + 1]
    base = re.sub(r" \d+$", "", name) or "setup"
    return next(tried for number in range(2, 10_000) if (tried := f"{base} {number}") not in names)


def _fields(day: Day, shown: Setup, old: Setup | None) -> tuple[Field, ...]:
    others = tuple((one_.name, one_.name) for one_ in day.setups if old is None or one_ is not old)
    heights = zip(ENDS, keys.RIDE_HEIGHTS, (shown.front_ride_height_m, shown.rear_ride_height_m), strict=True)
    areas = zip(ENDS, keys.SCZ, (shown.scz_front_m2, shown.scz_rear_m2), strict=True)
    parts = "\n".join(f"{name} = {part_text(part)}" for name, part in sorted(shown.parts.items()))
    return (
        Field("baseline", "Baseline", "choice", shown.baseline or "", options=(("", "none: it is one"), *others)),
        *(number_field(f"{end}_height", f"{end.capitalize()} ride height", key, h) for end, key, h in heights),
        Field("parts", "Parts", "lines", parts, hint="A line each: part = what is fitted, or its angle; yes or no."),
        *(
            quantity_field(
                f"scz_{end}", f"SCz, {end} axle", key, area, hint="Only where no sensor measures it.", sources=PREDICTED
            )
            for end, key, area in areas
        ),
        quantity_field("ballast", "Ballast", keys.BALLAST, shown.ballast_kg, hint=BALLAST_HINT),
        Field("notes", "Notes", "text", shown.notes),
    )


def _typed_setup(day: Day, typed: Typed, old: Setup | None) -> Setup:
    name, baseline = one(typed, "name"), one(typed, "baseline")
    if not name or len(name) > LONGEST_NAME:
        raise FieldError("name", f"A setup needs a name of at most {LONGEST_NAME} signs, such as a letter.")
    if baseline and baseline not in {setup.name for setup in day.setups}:
        raise FieldError("baseline", "The baseline must be another setup of this day.")
    heights = [
        typed_number(typed, f"{end}_height", f"The {end} ride height", key) for end, key in _by_end(keys.RIDE_HEIGHTS)
    ]
    before = old or Setup("")
    areas = [
        typed_quantity(typed, f"scz_{end}", f"SCz of the {end} axle", key, before=was)
        for (end, key), was in zip(_by_end(keys.SCZ), (before.scz_front_m2, before.scz_rear_m2), strict=True)
    ]
    return Setup(
        name, baseline or None, heights[0], heights[1], _parts(one(typed, "parts"), before), areas[0], areas[1],
        one(typed, "notes")[:LONGEST_TEXT],
        typed_quantity(typed, "ballast", "Ballast", keys.BALLAST, before=before.ballast_kg),
    )  # fmt: skip


def _by_end(two: tuple[keys.Key, ...]) -> list[tuple[str, keys.Key]]:
    return list(zip(ENDS, two, strict=True))


def _parts(text: str, before: Setup) -> dict[str, Part]:
    parts: dict[str, Part] = {}
    for line in filter(str.strip, text.splitlines()):
        name, equals, what = (piece.strip() for piece in line.partition("="))
        if not equals or not name:
            raise FieldError("parts", f"A part is written as “part = what is fitted”, not “{line.strip()[:60]}”.")
        if name in parts:
            raise FieldError("parts", f"{name[:60]} stands there twice.")
        same = name in before.parts and part_text(before.parts[name]) == what
        parts[name[:LONGEST_TEXT]] = before.parts[name] if same else typed_part(what[:LONGEST_TEXT])
    if len(parts) > MOST_PARTS:
        raise FieldError("parts", f"A setup has at most {MOST_PARTS} parts.")
    return parts


def typed_part(text: str) -> Part:
    """A part's setting as it was typed: yes or no, a number, or words."""
    if text.lower() in {"yes", "no", "true", "false"}:
        return text.lower() in {"yes", "true"}
    return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else text
