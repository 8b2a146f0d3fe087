"""What a column of predictions may be, and which one its name and unit propose."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from server.readers.cells import is_blank, number_of
from server.readers.prediction_table import GivenTable
from server.testday.unit_table import Unit
from server.testday.units import is_unit, unit_of

AERO = ("area", "fraction", "force")
MOMENT = ("volume", "fraction", "torque")


@dataclass(frozen=True, slots=True)
class Role:
    """A role: its words on the page and the kinds of unit it may have, none for text."""

    words: str
    dimensions: tuple[str, ...] = ()

    @property
    def is_text(self) -> bool:
        """Whether its cells are words."""
        return not self.dimensions


ROLES: dict[str, Role] = {
    "setup": Role("setup"),
    "part": Role("part of the car"),
    "source": Role("where it comes from"),
    "condition": Role("what else tells cases apart"),
    "front_ride_height": Role("ride height, front", ("length",)),
    "rear_ride_height": Role("ride height, rear", ("length",)),
    "yaw": Role("yaw", ("angle",)),
    "speed": Role("air speed", ("speed",)),
    "density": Role("air density", ("density",)),
    "reference_area": Role("reference area", ("area",)),
    "drag": Role("drag", AERO),
    "lift": Role("lift or downforce, total", AERO),
    "lift_front": Role("lift or downforce, front axle", AERO),
    "lift_rear": Role("lift or downforce, rear axle", AERO),
    "balance": Role("front share of the downforce", ("fraction",)),
    "moment": Role("pitching moment", MOMENT),
    "drag_u": Role("uncertainty of the drag", AERO),
    "lift_u": Role("uncertainty of the total", AERO),
    "lift_front_u": Role("uncertainty of the front axle", AERO),
    "lift_rear_u": Role("uncertainty of the rear axle", AERO),
    "cells": Role("cells of the mesh", ("count", "fraction")),
    "tap": Role("pressure tap"),
    "cp": Role("pressure coefficient", ("fraction",)),
    "cp_u": Role("uncertainty of the pressure coefficient", ("fraction",)),
}
VERTICAL = ("lift", "lift_front", "lift_rear")
PLAIN_NUMBER = Unit("fraction")  # "[-]" says little: an area is headed so, too
REPEATED = ("condition",)  # roles that several columns may have

_SUFFIX_UNITS = {
    **{"m2": "m²", "mm": "mm", "m": "m", "cm": "cm", "in": "in", "deg": "°", "rad": "rad"},
    **{"mps": "m/s", "kmh": "km/h", "kph": "km/h", "n": "N", "nm": "Nm", "pct": "%", "kgm3": "kg/m³"},
}
_FRONT, _REAR = r"(front|vorn|avant|fr\b|fa\b|_?f$|^f_)", r"(rear|hinten|arri|rr\b|ra\b|_?r$|^r_)"
_LIFT = r"(downforce|lift|scz|cz|cl\b|cl_|clf|clr|cla|lf$|lr$|fz|abtrieb|auftrieb|portance|df\b)"
_U = re.compile(r"(uncert|std|sigma|gci|u95|[_\s]u$|^u[_\s(]|_u_|±)", re.IGNORECASE)
_USUAL = {"yaw": "°", "speed": "m/s", "density": "kg/m³", "reference_area": "m²", "cp": "1", "cp_u": "1"}
# In the order in which they are tried.
_NAMES: tuple[tuple[str, str], ...] = (
    ("cp", r"^c_?p$|pressure coeff|^cp\b"),
    ("tap", r"\btap\b|\bport\b|\bprobe\b|^tap"),
    ("cells", r"\bcells?\b|cell count|n_?cells|elements"),
    ("reference_area", r"ref.*area|area.*ref|frontal area|^a_?ref|^s_?ref|^area$|^a$"),
    ("density", r"density|^rho\b|^ρ"),
    ("balance", r"balance|front share|%\s*front|share.*front"),
    ("moment", r"moment\b|^cm[yp]?\b|^cpm|^my\b|pitch"),
    ("front_ride_height", rf"(ride|height|rh).*{_FRONT}|^f?rh_?f|^frh|front.*(ride|height|rh\b)"),
    ("rear_ride_height", rf"(ride|height|rh).*{_REAR}|^r?rh_?r|^rrh|rear.*(ride|height|rh\b)"),
    ("yaw", r"\byaw|^beta\b|^β"),
    ("lift_front", rf"{_LIFT}.*{_FRONT}|{_FRONT}.*{_LIFT}|^clf|^czf|^lf\b"),
    ("lift_rear", rf"{_LIFT}.*{_REAR}|{_REAR}.*{_LIFT}|^clr|^czr|^lr\b"),
    ("lift", _LIFT),
    ("drag", r"drag|scx|^c_?d\b|^cd|^c_?x\b|^cx|^fx\b|résistance|widerstand"),
    ("speed", r"speed|veloc|^u_?inf|^v\b|geschw"),
    ("part", r"\bpart\b|component|patch|\bgroup\b"),
    ("setup", r"setup|config|variant|design|geometry|\bcase\b|^name$|^model$"),
    ("source", r"source|solver|turbulence|remark|^note"),
)


@dataclass(frozen=True, slots=True)
class ColumnRole:
    """A column's role (empty: not used) and its unit as typed; units in cells go before it."""

    role: str = ""
    unit: str = ""


def propose(table: GivenTable) -> tuple[ColumnRole, ...]:
    """A role for each column whose name says one, each role once; with a unit where it can be told."""
    names = [_plain(one.name) for one in table.columns]
    found: dict[int, str] = {}
    for role, pattern in _NAMES:
        wanted = re.compile(pattern, re.IGNORECASE)
        for at, (name, _) in enumerate(names):
            doubt = _U.search(name) is not None
            if at in found or not wanted.search(_core(name)):
                continue
            proper = f"{role}_u" if doubt else role
            if proper in ROLES and proper not in found.values() and _fits(proper, table, at):
                found[at] = proper
    roles = [(found.get(at, ""), suffix) for at, (_, suffix) in enumerate(names)]
    return tuple(ColumnRole(role, _unit(role, suffix, table, at)) for at, (role, suffix) in enumerate(roles))


def lift_positive(table: GivenTable, columns: Sequence[ColumnRole]) -> str:
    """"downforce" or "lift", where the names of the vertical forces say which is positive; else empty."""
    names = [one.name.casefold() for one, role in zip(table.columns, columns, strict=True) if role.role in VERTICAL]
    if names and all(re.search(r"downforce|scz|abtrieb|\bdf\b", name) for name in names):
        return "downforce"
    return "lift" if names and all(re.search(r"lift|^cl|auftrieb|portance|^l[fr]\b", name) for name in names) else ""


def _plain(name: str) -> tuple[str, str]:
    """A name without the unit that ends it ("scx_u_m2" → "scx_u"), and that unit."""
    head, _, tail = name.strip().casefold().rpartition("_")
    return (head, _SUFFIX_UNITS[tail]) if head and tail in _SUFFIX_UNITS else (name.strip().casefold(), "")


def _core(name: str) -> str:
    """A name without the words that make it an uncertainty."""
    return _U.sub(" ", name).strip(" _()")


def _fits(role: str, table: GivenTable, at: int) -> bool:
    """Whether the column's unit may be one of the role; text columns are not all numbers."""
    unit = table.columns[at].unit or ""
    if ROLES[role].is_text:
        return not unit
    return not unit or not is_unit(unit) or unit_of(unit).dimension in (*ROLES[role].dimensions, "fraction")


def _unit(role: str, suffix: str, table: GivenTable, at: int) -> str:
    column = table.columns[at]
    if not role or ROLES[role].is_text:
        return ""
    if column.unit and is_unit(column.unit) and unit_of(column.unit) != PLAIN_NUMBER:
        return column.unit
    return suffix or _usual(role, _core(column.name.casefold()), _sample(table, at)) or column.unit or ""


def _usual(role: str, name: str, sample: list[float]) -> str:
    """The unit that a bare number of this role and size has."""
    largest = max(map(abs, sample), default=0.0)
    if role in ("front_ride_height", "rear_ride_height"):
        return "mm" if largest >= 1 else "m"
    if role == "balance":
        return "%" if largest > 1.5 else "1"
    if role in _USUAL:
        return _USUAL[role]
    if role.startswith(("drag", "lift")) and re.search(r"^sc|\*\s*[as]\b|c[dlxz][_*]?a\b|area", name):
        return "m²"
    return "1" if role.startswith(("drag", "lift", "moment")) and re.match(r"c", name) else ""


def _sample(table: GivenTable, at: int) -> list[float]:
    cells = [row.cells[at] for row in table.rows[:50] if not is_blank(row.cells[at])]
    return [value for cell in cells if (value := number_of(cell, table.decimal)) == value]
