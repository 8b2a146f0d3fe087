"""How a table of predictions is to be read: a role and a unit for each column, and what holds for the whole table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from server.readers.prediction_cells import CellError, measured
from server.readers.prediction_roles import REPEATED, ROLES, VERTICAL, ColumnRole, lift_positive, propose
from server.readers.prediction_table import GivenTable
from server.testday.units import UnknownUnitError, unit_of

NORMAL_95 = 1.959964
GCI_OVER_U = 1.15
U_FACTORS = {"u": 1.0, "u95": 1.0 / NORMAL_95, "gci": 1.0 / GCI_OVER_U}
AERO_ROLES = ("drag", *VERTICAL)

Kind = Literal["areas", "taps"]


@dataclass(frozen=True, slots=True)
class Conventions:
    """What holds for every row where no column says it; None or empty for not said.

    vertical: "downforce" or "lift", which is positive. car: "whole" or "half". reference_area_m2: of the coefficients,
    as the solver had it. moment_x_m, moment_z_m: the point of the pitching moment, behind the front axle and above the
    ground; moment_positive: "nose-up" or "nose-down"; moment_length_m: of its coefficient, None for the wheelbase.
    u_is: "u", "u95" or "gci". dimensions: of the mesh.
    """

    vertical: str = ""
    car: str = "whole"
    reference_area_m2: float | None = None
    density_kgm3: float | None = None
    speed_mps: float | None = None
    wheelbase_m: float | None = None
    moment_x_m: float | None = None
    moment_z_m: float = 0.0
    moment_positive: str = ""
    moment_length_m: float | None = None
    u_is: str = "u"
    setup: str = ""
    part: str = ""
    dimensions: int = 3


@dataclass(frozen=True, slots=True)
class Reading:
    """How a table is read."""

    columns: tuple[ColumnRole, ...]
    decimal: str = "."
    conventions: Conventions = field(default_factory=Conventions)

    @property
    def kind(self) -> Kind:
        """Areas of the car, or pressure taps."""
        return "taps" if any(one.role == "cp" for one in self.columns) else "areas"

    def at(self, role: str) -> int | None:
        """The column of a role."""
        return next((at for at, one in enumerate(self.columns) if one.role == role), None)

    def has(self, role: str) -> bool:
        """Whether a column plays it."""
        return self.at(role) is not None


def proposed_reading(table: GivenTable) -> Reading:
    """What names and units propose; what they cannot say stays empty."""
    columns = propose(table)
    return Reading(columns, table.decimal, Conventions(vertical=lift_positive(table, columns)))


def lacks(table: GivenTable, reading: Reading) -> Iterator[tuple[str, str]]:
    """What must still be said before a row can be read, as (field of the form, sentence)."""
    yield from _columns(table, reading)
    said = reading.conventions
    if not reading.has("setup") and not said.setup:
        yield "setup", "Say which setup the table is about: no column names it."
    if reading.kind == "taps":
        if not reading.has("tap"):
            yield "columns", "Say which column names the pressure taps."
        return
    if not any(reading.has(role) for role in AERO_ROLES):
        yield "columns", "Say which column is the drag, the lift or the downforce."
    if any(reading.has(role) for role in VERTICAL) and not said.vertical:
        yield "vertical", "Say whether lift or downforce is positive in this table."
    yield from _splitting(reading)
    yield from _scaling(table, reading)


def _columns(table: GivenTable, reading: Reading) -> Iterator[tuple[str, str]]:
    counts = Counter(one.role for one in reading.columns if one.role and one.role not in REPEATED)
    for role, count in counts.items():
        if count > 1:
            yield "columns", f"{count} columns are called {ROLES[role].words}; one can be."
    for at, one in enumerate(reading.columns):
        if one.role and not ROLES[one.role].is_text and (wrong := _unit_fault(table, reading, at)):
            yield f"unit_{at}", f"“{table.columns[at].written or table.columns[at].name}”: {wrong}."


def _unit_fault(table: GivenTable, reading: Reading, at: int) -> str:
    """What is wrong with a column's unit; a column whose first filled cell brings its own needs none."""
    role = ROLES[reading.columns[at].role]
    unit = reading.columns[at].unit
    if unit:
        try:
            dimension = unit_of(unit).dimension
        except UnknownUnitError:
            return f"the unit “{unit}” is not known here"
        if dimension not in role.dimensions:
            kinds = " or ".join("none (1)" if one == "fraction" else one for one in role.dimensions)
            return f"{role.words} cannot have the unit “{unit}”; it takes one of {kinds}"
        return ""
    for row in table.rows:
        try:
            if measured(row.cells[at], "", role.dimensions, reading.decimal) is not None:
                return ""
        except CellError as error:
            if "no unit" in str(error):
                return "say its unit; 1 is the unit of a coefficient"
    return ""


def _splitting(reading: Reading) -> Iterator[tuple[str, str]]:
    said = reading.conventions
    if not reading.has("moment"):
        return
    if not reading.has("lift"):
        yield "columns", "A pitching moment parts the total between the axles: say which column is the total."
    if said.wheelbase_m is None:
        yield "wheelbase_m", "Say the wheelbase: the pitching moment parts the total between the axles by it."
    if said.moment_x_m is None:
        yield "moment_x_m", "Say how far behind the front axle the point of the pitching moment lies."
    if not said.moment_positive:
        yield "moment_positive", "Say whether nose up or nose down is positive for the pitching moment."
    if said.moment_z_m and not reading.has("drag"):
        yield "columns", "The point of the moment lies above the ground, so that the drag is needed to bring it down."


def _scaling(table: GivenTable, reading: Reading) -> Iterator[tuple[str, str]]:
    said = reading.conventions
    if any(_any_of(table, reading, ("fraction",))) and not reading.has("reference_area") and not said.reference_area_m2:
        yield "reference_area_m2", "Coefficients need their reference area: in a column, or typed here."
    if any(_any_of(table, reading, ("force", "torque"))):
        if not reading.has("speed") and not said.speed_mps:
            yield "speed_mps", "Forces need the air speed they were computed at: in a column, or typed here."
        if not reading.has("density") and not said.density_kgm3:
            yield "density_kgm3", "Forces need the air density they were computed at: in a column, or typed here."


def _any_of(table: GivenTable, reading: Reading, dimensions: tuple[str, ...]) -> Iterator[bool]:
    """Whether columns of forces and moments are given in units of these kinds, by header or by their first cell."""
    dimension: Callable[[str], str] = lambda unit: unit_of(unit).dimension  # noqa: E731 - one line, used once
    for at, one in enumerate(reading.columns):
        if one.role not in (*AERO_ROLES, "moment"):
            continue
        if one.unit:
            yield dimension(one.unit) in dimensions
            continue
        for row in table.rows[:20]:
            try:
                found = measured(row.cells[at], "", ROLES[one.role].dimensions, reading.decimal)
            except CellError:
                continue
            if found is not None:
                yield found.dimension in dimensions
