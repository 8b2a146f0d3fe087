"""A correlation as JSON: decisions and margins that programs send and read."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Body

CarName = Annotated[str, Field(max_length=200, description="As the car's test days name it.")]


class DecisionView(BaseModel):
    """A decision on one verdict; a later one supersedes it."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    car: str
    day_id: int
    result_id: int
    set_id: int | None
    setup: str
    quantity: str
    against: str = Field(description="Baseline of a change; empty for a total.")
    verdict: str
    told: str = Field(description="The verdict's sentence as it stood then.")
    stance: str
    text: str
    supersedes_id: int | None
    who: str
    at: dt.datetime


class DecisionSent(Body):
    """A decision on the verdict that stands now."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "car": "Apron 12",
                    "setup": "C",
                    "quantity": "SCx",
                    "stance": "explained",
                    "text": "The mesh has no radiator; it is worth 0.1 m².",
                }
            ]
        }
    )

    car: CarName
    setup: Annotated[str, Field(max_length=200)]
    quantity: Annotated[str, Field(max_length=40)]
    against: Annotated[str, Field(max_length=200, description="Baseline of a change; empty for a total.")] = ""
    stance: Literal["accepted", "explained", "doubted"]
    text: Annotated[str, Field(min_length=1, max_length=4000)]
    supersedes: Annotated[int | None, Field(ge=1, le=2**31, description="Number of the decision before.")] = None


class MarginsSent(Body):
    """By how much a car's predictions may be off, as shares of what was measured."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"car": "Apron 12", "total": 0.05, "change": 0.2, "numerical_correlation": 0.0}]
        }
    )

    car: CarName
    total: Annotated[float, Field(ge=0.001, le=0.5)] = 0.05
    change: Annotated[float, Field(ge=0.001, le=2.0)] = 0.2
    numerical_correlation: Annotated[float, Field(ge=0.0, le=0.99)] = 0.0
    reason: Annotated[str, Field(max_length=1000)] = ""


class MarginsView(BaseModel):
    """The margins as they stand."""

    car: str
    total: float
    change: float
    numerical_correlation: float


class TapsSent(Body):
    """A day's pressures at taps, as a table."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"day_id": 1, "name": "taps.csv", "table": "setup,tap,cp,u\nA,F1,-1.2,0.04\n"}]}
    )

    day_id: Annotated[int, Field(ge=1, le=2**31)]
    name: Annotated[str, Field(min_length=1, max_length=120)] = "taps.csv"
    table: Annotated[str, Field(max_length=900_000, description="Columns setup, tap, cp, u, run.")]


class TapsView(BaseModel):
    """A table of taps that was kept."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    day_id: int
    name: str
    sha256: str
    taps: int = Field(description="How many lines it has.")
    who: str
    at: dt.datetime
