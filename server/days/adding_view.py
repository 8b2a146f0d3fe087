"""The forms that add runs to a day as a page shows them: empty but for what the last run tells, or as sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from server.days.adding_runs import NEW_SETUP, SentRow, sent_from
from server.days.adding_typed import CELLS, ROWS
from server.days.channel_changes import spoken_role
from server.days.form_fields import FieldError, Typed, one, short_text
from server.days.run_forms import COASTING_OPTIONS, DIRECTION_OPTIONS
from server.days.setup_forms import next_name
from server.testday.quantities import from_si
from server.testday.role_table import ROLES
from server.testday.roles import NOTHING
from server.testday.values import Day

Options = tuple[tuple[str, str], ...]
# Spellings to choose from, by what a role measures; the bounds of roles catch a wrong choice.
UNITS: Mapping[str, tuple[str, ...]] = {
    "speed": ("km/h", "m/s", "mph", "kn"),
    "angle": ("deg", "rad"),
    "length": ("mm", "m", "cm"),
    "fraction": ("%", "1"),
    "pressure": ("bar", "kPa", "psi", "Pa"),
    "acceleration": ("m/s2", "g"),
    "rotation": ("rpm", "deg/s", "rad/s"),
    "force": ("N", "kN"),
    "torque": ("Nm",),
    "temperature": ("degC", "K"),
}
WHEELS = "wheel_speed"


@dataclass(frozen=True, slots=True)
class Ask:
    """A question about a log: which column plays a role, in which unit."""

    role: str
    words: str
    columns: Options
    units: tuple[str, ...]
    why: str
    chosen: str


@dataclass(frozen=True, slots=True)
class RowView:
    """A file that was sent, with what was typed about it, what is wrong with it and what it leaves open.

    answers: role and column, said before and not asked again.
    """

    upload_id: str
    name: str
    is_database: bool
    facts: dict[str, str]
    problem: str
    asks: tuple[Ask, ...]
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class TypedView:
    """The table of times typed by hand."""

    rows: tuple[tuple[str, ...], ...]
    facts: dict[str, str]
    settings: dict[str, str]
    problem: str = ""
    field: str = ""


@dataclass(frozen=True, slots=True)
class AddView:
    """What both forms choose from, what a new run starts with, and the setup that may be new with it."""

    setups: Options
    driven: Options
    directions: Options
    coastings: Options
    facts: dict[str, str]
    summary: str
    new: dict[str, str]
    typed: TypedView


def add_view(day: Day) -> AddView:
    """The forms as they stand empty: a new run is like the last one, but for start, direction and notes."""
    last = max(day.runs, key=lambda run: run.number, default=None)
    mass = "" if last is None or last.driver_mass_kg.source == "default" else _kg(last.driver_mass_kg.value)
    coasting = last.coasting if last else "unknown"
    setup = last.setup if last else day.setups[0].name
    facts = {"setup": setup, "start": "", "driver": mass, "direction": "", "coasting": coasting, "notes": ""}
    driven = tuple((each.name, each.name) for each in day.setups)
    words = dict(COASTING_OPTIONS)[coasting]
    new = {"name": next_name(day, ""), "baseline": day.setups[0].name, "parts": ""}
    return AddView(
        setups=(*driven, (NEW_SETUP, "a new one")),
        driven=driven,
        directions=DIRECTION_OPTIONS,
        coastings=COASTING_OPTIONS,
        facts=facts,
        summary=f"Driver {mass + ' kg' if mass else 'mass not given'}, coasting {words}",
        new=new,
        typed=TypedView(tuple(("",) * len(CELLS) for _ in range(ROWS)), facts, {"seconds_u": "", "gain": ""}),
    )


def _kg(value: float) -> str:
    return short_text(from_si(value, "kg"))


def with_new(view: AddView, new: Mapping[str, str]) -> AddView:
    """The forms with the new setup as it was described."""
    return replace(view, new={**view.new, **{name: text for name, text in new.items() if text}})


def with_typed(view: AddView, typed: Typed, refusal: Exception) -> AddView:
    """The forms with the table of times as it was sent, and why it was not taken."""
    longest = max(ROWS, *(len(typed.get(name, ())) for name in CELLS))
    rows = tuple(tuple(_at(typed, name, place) for name in CELLS) for place in range(longest))
    facts = {name: one(typed, name) for name in view.facts}
    settings = {name: one(typed, name) for name in view.typed.settings}
    field = refusal.field if isinstance(refusal, FieldError) else ""
    return replace(view, typed=TypedView(rows, facts, settings, str(refusal), field))


def _at(typed: Typed, name: str, place: int) -> str:
    values = typed.get(name, ())
    return values[place] if place < len(values) else ""


def row_views(payload: Mapping[str, Any]) -> tuple[RowView, ...]:
    """The rows of a job's form, with its answer where it has one."""
    answer = payload.get("answer", {"problems": {}, "asks": {}})
    rows = sent_from(payload["sent"]).rows
    return tuple(
        row_view(row, answer["problems"].get(str(place), ""), answer["asks"].get(str(place), []))
        for place, row in enumerate(rows)
    )


def row_view(row: SentRow, problem: str = "", asks: list[dict[str, Any]] | None = None) -> RowView:
    """One row."""
    asked = tuple(_ask(each) for each in asks or ())
    open_roles = {each.role for each in asked}
    answers = tuple((role, column) for role, column in row.answers.items() if role not in open_roles)
    return RowView(row.upload_id, row.name, row.is_database, row.facts, problem, asked, answers)


def _ask(kept: Mapping[str, Any]) -> Ask:
    role, columns = kept["role"], [(name, name) for name in kept["columns"]]
    words = spoken_role(role)
    if kept["any"]:
        why = f"No column is called as this day calls {words}. Which is it?"
    elif kept["unit"]:
        why = f"“{kept['columns'][0]}” is taken for {words}; the log does not say its unit so that it is known here."
    else:
        why = f"More than one column may be {words}."
    return Ask(role, words, (*columns, (NOTHING, "none of them")), _units(role), why, kept["chosen"])


def _units(role: str) -> tuple[str, ...]:
    if role not in ROLES:
        return ()
    turning = UNITS["rotation"] if role.startswith(WHEELS) else ()
    return (*UNITS.get(ROLES[role].dimension, ()), *turning)
