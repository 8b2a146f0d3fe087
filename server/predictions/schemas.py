"""Predictions as JSON: sets, cases, and a table with how it is to be read."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Body, Reason
from server.readers.prediction_roles import ROLES

EXAMPLE: dict[str, Any] = {
    "car": "Apron 12",
    "name": "July cases",
    "recipe": "RANS k-omega SST, 14 million cells",
    "table": "Config;Cd;Cl front;Cl rear\nA;1,21;-1,43;-1,71\n",
    "said": {"vertical": "lift", "reference_area_m2": 1.1},
}
LOOK_EXAMPLE = {"car": "Apron 12", "name": "July cases", "upload_id": "UPLOAD", "said": {"vertical": "lift"}}
CarName = Annotated[str, Field(max_length=80, description="As the car's test days name it.")]


class PredictionSetView(BaseModel):
    """A set of predictions."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    car: str
    kind: str = Field(description="areas or taps.")
    name: str
    recipe: str = Field(description="Solver, mesh, turbulence model in free words.")
    author: str
    dated: dt.date | None
    file_name: str
    file_sha256: str = Field(description="Of the table as it came.")
    content_sha256: str = Field(description="Of the file that holds its rows, given and become.")
    day_id: int | None = Field(description="The day whose own predictions.csv it is.")
    cases: int
    left_out: int = Field(description="Rows of its table that could not be used.")
    who: str
    made_at: dt.datetime
    ended: str = Field(description="Empty for one that stands, else withdrawn or revised.")
    end_reason: str
    next_id: int | None = Field(description="The set in its place.")


class RowOut(BaseModel):
    """A row of a table: the cells as given, what it became and how, or what is wrong with it."""

    line: int
    given: dict[str, str]
    words: list[str] = Field(description="The steps from given to become.")
    case: dict[str, Any] | None = Field(description="SI; an area is [value, u], u 0 where none was given.")
    tap: dict[str, Any] | None
    problem: str


class PredictionSetRows(PredictionSetView):
    """A set with its rows."""

    said: list[str] = Field(description="What holds for the whole table.")
    rows: list[RowOut]


class CaseOut(BaseModel):
    """A predicted case or tap of a car, its setup under the car's own name."""

    set_id: int
    set_name: str
    recipe: str
    line: int
    written: str = Field(description="The setup's name in the set.")
    case: dict[str, Any]


class ColumnSaid(Body):
    """What a column is."""

    role: str = Field(default="", max_length=40, description=f"Empty for a column not used, or {', '.join(ROLES)}.")
    unit: str = Field(default="", max_length=24, description="1 for a coefficient.")


class TableSaid(Body):
    """What holds for a whole table; null where it is not said."""

    vertical: Literal["", "downforce", "lift"] | None = Field(default=None, description="Which is positive.")
    car: Literal["whole", "half"] | None = None
    u_is: Literal["u", "u95", "gci"] | None = Field(default=None, description="What stated uncertainties are.")
    moment_positive: Literal["", "nose-up", "nose-down"] | None = None
    decimal: Literal[".", ","] | None = None
    dimensions: Literal["2", "3"] | None = Field(default=None, description="Of the meshes.")
    reference_area_m2: float | None = None
    density_kgm3: float | None = None
    speed_mps: float | None = None
    wheelbase_m: float | None = None
    moment_x_m: float | None = Field(default=None, description="Point of the moment behind the front axle.")
    moment_z_m: float | None = Field(default=None, description="Above the ground.")
    moment_length_m: float | None = Field(default=None, description="Of its coefficient; the wheelbase if null.")
    setup: str | None = Field(default=None, max_length=80)
    part: str | None = Field(default=None, max_length=80)


class TableSent(Body):
    """A table and how it is to be read; what is not said is proposed from names, units and tables read before."""

    model_config = ConfigDict(json_schema_extra={"examples": [EXAMPLE]})

    car: CarName
    name: str = Field(min_length=1, max_length=80)
    recipe: str = Field(default="", max_length=400)
    author: str = Field(default="", max_length=80)
    dated: str = Field(default="", max_length=10, description="Year-month-day.")
    table: str | None = Field(default=None, max_length=5_000_000, description="The table's text; or:")
    upload_id: str | None = Field(default=None, max_length=100, description="A file that has come in as an upload.")
    columns: list[ColumnSaid] | None = Field(default=None, max_length=200, description="In the table's order.")
    said: TableSaid = TableSaid()
    matches: dict[str, str] = Field(default={}, max_length=500, description="Name in the table → setup of the car.")
    without_bad: bool = Field(default=False, description="Keep the set without rows that cannot be used.")
    revises: int | None = Field(default=None, ge=1, le=2**31, description="The set whose place this one takes.")
    reason: Reason = ""


class TableAsked(TableSent):
    """The same, to be looked at."""

    model_config = ConfigDict(json_schema_extra={"examples": [LOOK_EXAMPLE]})


class RowsOut(BaseModel):
    """What a table would become; nothing was kept."""

    description: str
    columns: list[ColumnSaid] = Field(description="As they were read.")
    said: list[str]
    rows: list[RowOut]


class Withdrawal(Body):
    """Why a set stands no more."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"reason": "computed without the driver"}]})

    reason: str = Field(min_length=1, max_length=400)


class MatchesSent(Body):
    """Which setup each name in the predictions of a car means; an empty one for none."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"car": "Apron 12", "matches": {"Flap up, mk 2": "B"}}]})

    car: CarName
    matches: dict[str, str] = Field(max_length=500)


class MatchesOut(BaseModel):
    """Names in the predictions of a car: settled ones with their setup, and those that wait for a word."""

    car: str
    setups: list[str]
    matches: dict[str, str]
    open: list[str]
