"""The form about a run's facts: setup, start, driver, direction, coasting, notes. What was logged is not asked."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, get_args

from server.days.changes import Change, change_run, move_run
from server.days.form_fields import Field, FieldError, Form, Typed, one, quantity_field, text_of, typed_quantity
from server.errors import NotFoundError
from server.testday import folder_keys as keys
from server.testday.defaults import missing_quantity
from server.testday.quantities import clock_from_s, clock_to_s
from server.testday.values import Coasting, Day, Direction, Quantity, Run

LONGEST_NOTES = 2000
DIRECTIONS: tuple[Direction, ...] = get_args(Direction)
COASTINGS: tuple[Coasting, ...] = get_args(Coasting)
DIRECTION_OPTIONS = (("", "from the log"), *((word, word) for word in DIRECTIONS))
COASTING_OPTIONS = tuple((word, "not said" if word == "unknown" else word) for word in COASTINGS)
START_HINT = "Such as 09:09. Empty: the log's own clock, where it has one."
DRIVER_WORDS = "Driver with helmet and suit"


def form(day: Day, slug: str) -> Form:
    """The form of `run.3`, the run of that number. Raises NotFoundError."""
    run = run_of(day, slug)
    fields = (
        Field("setup", "Setup", "choice", run.setup, options=tuple((one_.name, one_.name) for one_ in day.setups)),
        Field("start", "Start", "text", start_text(run), hint=START_HINT),
        quantity_field("driver", DRIVER_WORDS, keys.DRIVER_MASS, run.driver_mass_kg),
        Field("direction", "Direction", "choice", run.direction or "", options=DIRECTION_OPTIONS),
        Field("coasting", "How the car coasted", "choice", run.coasting, options=COASTING_OPTIONS),
        Field("notes", "Notes", "lines", run.notes),
    )  # fmt: skip
    return Form(slug, f"Run {run.number}", run_text(run), fields)


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError, NotFoundError."""
    run = run_of(day, slug)
    facts = typed_facts(day, typed, run)
    changed = {name: value for name, value in facts.items() if value != getattr(run, name)}
    setup = changed.pop("setup", None)
    if setup is None:
        return change_run(day, run.number, **changed)
    moved = move_run(day, run.number, setup)
    return _both(moved, change_run(moved.day, run.number, **changed)) if changed else moved


def _both(moved: Change, facts: Change) -> Change:
    """A run moved and its facts changed, as one change."""
    before, after = {"setup": moved.before, **facts.before}, {"setup": moved.after, **facts.after}
    return replace(facts, before=before, after=after, what=f"{moved.what}; {facts.what.partition(': ')[2]}")


def typed_facts(day: Day, typed: Typed, before: Run | None = None) -> dict[str, Any]:
    """Setup and facts of a run as they were typed; an empty driver's mass is the wide default. Raises FieldError."""
    setup = one(typed, "setup")
    if setup not in {one_.name for one_ in day.setups}:
        raise FieldError("setup", "The setup must be one of this day's.")
    return {
        "setup": setup,
        "start_clock_s": typed_clock(one(typed, "start")),
        "driver_mass_kg": typed_driver(typed, before),
        "direction": next((word for word in DIRECTIONS if word == one(typed, "direction")), None),
        "coasting": next((word for word in COASTINGS if word == one(typed, "coasting")), "unknown"),
        "notes": one(typed, "notes")[:LONGEST_NOTES].replace("\r\n", "\n"),
    }


def typed_driver(typed: Typed, before: Run | None = None) -> Quantity:
    """The driver's mass; a wide default where nothing was typed. Raises FieldError."""
    there = before.driver_mass_kg if before else None
    return typed_quantity(typed, "driver", DRIVER_WORDS, keys.DRIVER_MASS, before=there) or missing_quantity(
        "driver_mass_kg"
    )


def typed_clock(text: str) -> float | None:
    """A clock time in seconds after midnight, None for an empty one. Raises FieldError."""
    clock = clock_to_s(text) if text else None
    if text and clock is None:
        raise FieldError("start", f"A start is written such as 09:09, not “{text[:20]}”.")
    return clock


def run_of(day: Day, slug: str) -> Run:
    """The run that a slug names by its number. Raises NotFoundError."""
    number = slug.partition(".")[2]
    for run in day.runs:
        if str(run.number) == number:
            return run
    raise NotFoundError(f"This day has no run {number[:20]}.")


def start_text(run: Run) -> str:
    """When it started, without seconds where they say nothing."""
    return "" if run.start_clock_s is None else clock_from_s(run.start_clock_s).removesuffix(":00")


def run_text(run: Run) -> str:
    """A run in one line."""
    mass = text_of(run.driver_mass_kg, "kg") + (" (a default)" if run.driver_mass_kg.source == "default" else "")
    coasting = "coasting not said" if run.coasting == "unknown" else f"coasting {run.coasting}"
    way = run.direction or "direction from the log"
    return f"setup {run.setup}, {start_text(run) or 'start from the log'}, driver {mass}, {way}, {coasting}"
