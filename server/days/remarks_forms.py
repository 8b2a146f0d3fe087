"""What stands beside a run and moves no fit: who drove, what the driver said, tyre pressures by hand."""

from __future__ import annotations

from dataclasses import replace

from server.days.change import Change
from server.days.form_fields import Field, Form, Typed, check_range, decimal_of, one, short_text
from server.days.run_changes import change_run
from server.days.run_forms import LONGEST_NOTES, run_of
from server.testday import folder_keys as keys
from server.testday.folder_keys import Key
from server.testday.quantities import from_si, to_si
from server.testday.values import Day, Run

CORNERS = ("front left", "front right", "rear left", "rear right")
LONGEST_NAME = 60
STATES = {"cold": "Tyre pressures before the run, cold", "hot": "Tyre pressures after the run, hot"}
GAUGE = "As the gauge reads; a corner that was not read stays empty."


def form(day: Day, slug: str) -> Form:
    """The form of `remarks.3`. Raises NotFoundError."""
    run = run_of(day, slug)
    pressures = zip(STATES.items(), (run.tyre_cold_pa, run.tyre_hot_pa), strict=True)
    fields = (
        Field("driver", "Driver", "text", run.driver, remembered=tuple(sorted({r.driver for r in day.runs} - {""}))),
        Field("remarks", "What the driver said", "lines", run.remarks),
        *(
            Field(name, words, "corners", unit="bar", hint=GAUGE, chosen=corner_texts(values), options=OPTIONS)
            for (name, words), values in pressures
        ),
    )
    return Form(slug, f"Driver and tyres of run {run.number}", remarks_text(run), fields)


OPTIONS = tuple((corner, corner) for corner in CORNERS)


def change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError, NotFoundError."""
    run = run_of(day, slug)
    cold, hot = (_pressures(typed, state, key) for state, key in zip(STATES, keys.TYRE_PRESSURES, strict=True))
    facts = {
        "driver": " ".join(one(typed, "driver").split())[:LONGEST_NAME],
        "remarks": one(typed, "remarks")[:LONGEST_NOTES].replace("\r\n", "\n"),
        "tyre_cold_pa": cold,
        "tyre_hot_pa": hot,
    }
    changed = {name: value for name, value in facts.items() if value != getattr(run, name)}
    return replace(change_run(day, run.number, **changed), kind="run-remarked")


def _pressures(typed: Typed, name: str, key: Key) -> tuple[float | None, ...]:
    texts = [*typed.get(name, ()), *[""] * len(CORNERS)][: len(CORNERS)]
    found: list[float | None] = []
    for corner, text in zip(CORNERS, texts, strict=True):
        label = f"The pressure {corner}, {name},"
        written = decimal_of(text, name, label)
        if written is not None:
            check_range(written, name, label, key, key.unit)
        found.append(None if written is None else to_si(written, key.unit))
    return tuple(found) if any(value is not None for value in found) else ()


def corner_texts(pressures: tuple[float | None, ...]) -> tuple[str, ...]:
    """Each corner's pressure as it is typed, empty where none was read."""
    values = pressures or (None,) * len(CORNERS)
    return tuple("" if value is None else short_text(from_si(value, "bar")) for value in values)


def tyres_text(pressures: tuple[float | None, ...]) -> str:
    """Pressures in one line, front left to rear right."""
    return " / ".join(text or "—" for text in corner_texts(pressures)) + " bar" if pressures else ""


def has_remarks(run: Run) -> bool:
    """Whether anything stands beside the run."""
    return bool(run.driver or run.remarks or run.tyre_cold_pa or run.tyre_hot_pa)


def remarks_text(run: Run) -> str:
    """What is known beside the run, in one line."""
    told = [run.driver and f"driven by {run.driver}"]
    told += [f"tyres {state} {tyres_text(values)}" for state, values in
             (("cold", run.tyre_cold_pa), ("hot", run.tyre_hot_pa)) if values]  # fmt: skip
    told += [f"“{run.remarks}”" if run.remarks else ""]
    return ", ".join(filter(None, told)) or "nothing said"


