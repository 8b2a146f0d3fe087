"""The form that says how a table is read: a line for each column with its first cells, and the table's conventions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.days.form_fields import Typed, one
from server.predictions.asking import CHOICES, NUMBERS, TEXTS
from server.readers.prediction_cells import shortened
from server.readers.prediction_roles import ROLES
from server.readers.prediction_table import GivenTable

SHOWN_CELLS = 3
ROLE_OPTIONS = (("", "not used"), *((name, role.words) for name, role in ROLES.items()))


@dataclass(frozen=True, slots=True)
class ColumnLine:
    """A column: its header, its unit there, its first cells, and the role and unit as they stand in the form."""

    at: int
    header: str
    cells: str
    role: str
    unit: str
    problem: str


@dataclass(frozen=True, slots=True)
class SaidField:
    """A field about the whole table: a number with its unit, a choice with its options, or a text."""

    name: str
    label: str
    value: str
    unit: str = ""
    hint: str = ""
    options: tuple[tuple[str, str], ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True)
class MappingView:
    """The form as it stands. numbers, choices, texts: those that this table needs first, then the others."""

    columns: tuple[ColumnLine, ...]
    needed: tuple[SaidField, ...]
    others: tuple[SaidField, ...]
    role_options: tuple[tuple[str, str], ...] = ROLE_OPTIONS


def mapping_view(table: GivenTable, choices: Mapping[str, Any], problems: Mapping[str, str]) -> MappingView:
    """The form for these choices; problems: field → sentence."""
    columns = tuple(
        _column(table, at, choices, problems.get(f"unit_{at}") or problems.get(f"role_{at}", ""))
        for at in range(len(table.columns))
    )
    roles = {one.role for one in columns}
    fields = [_field(name, choices, problems) for name in (*CHOICES, *(one.name for one in NUMBERS), *TEXTS)]
    wanted = needed_fields(roles)
    return MappingView(
        columns,
        tuple(one for one in fields if one.name in wanted or one.problem),
        tuple(one for one in fields if one.name not in wanted and not one.problem),
    )


def needed_fields(roles: set[str]) -> set[str]:
    """The fields that a table with these columns probably needs; the others fold away."""
    wanted = {"car"} if roles & {"drag", "lift", "lift_front", "lift_rear"} else set()
    if "setup" not in roles:
        wanted.add("setup")
    if roles & {"lift", "lift_front", "lift_rear"}:
        wanted.add("vertical")
    if "moment" in roles:
        wanted |= {"wheelbase_m", "moment_x_m", "moment_z_m", "moment_positive"}
    if any(role.endswith("_u") for role in roles):
        wanted.add("u_is")
    if roles & {"drag", "lift", "lift_front", "lift_rear", "moment"}:
        wanted |= {"reference_area_m2"} if "reference_area" not in roles else set()
        wanted |= {"density_kgm3"} if "density" not in roles else set()
        wanted |= {"speed_mps"} if "speed" not in roles else set()
    return wanted


def choices_of_form(typed: Typed, count: int) -> dict[str, Any]:
    """What the form says, as it is kept."""
    columns = [[one(typed, f"role_{at}"), one(typed, f"unit_{at}")] for at in range(count)]
    return {"columns": columns, **{name: one(typed, name) for name in (*CHOICES, *(n.name for n in NUMBERS), *TEXTS)}}


def _column(table: GivenTable, at: int, choices: Mapping[str, Any], problem: str) -> ColumnLine:
    said = choices.get("columns", [])
    role, unit = said[at] if at < len(said) else ("", "")
    cells = [shortened(row.cells[at]) for row in table.rows[:SHOWN_CELLS] if row.cells[at]]
    column = table.columns[at]
    header = column.name if not column.unit or column.unit in column.written else f"{column.name} [{column.unit}]"
    return ColumnLine(at, column.written if column.unit and column.unit in column.written else header,
                      ", ".join(cells) or "empty", role, unit, problem)  # fmt: skip


def _field(name: str, choices: Mapping[str, Any], problems: Mapping[str, str]) -> SaidField:
    value, problem = str(choices.get(name, "")), problems.get(name, "")
    if name in CHOICES:
        label, options = CHOICES[name]
        return SaidField(name, label, value, options=options, problem=problem)
    if name in TEXTS:
        return SaidField(name, TEXTS[name][0], value, hint=TEXTS[name][1], problem=problem)
    number = next(one for one in NUMBERS if one.name == name)
    return SaidField(name, number.label, value, number.unit, number.hint, problem=problem)
