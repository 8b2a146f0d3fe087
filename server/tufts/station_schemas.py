"""Stations, points of views and agreement of tufts as JSON; metres and radians."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Body
from server.tufts.schemas import Condition, Name, Pixels, Turn

Metres = Annotated[float, Field(ge=-20, le=20, description="In the plane of the part, as its drawing has it [m].")]
STATION = {"part": "rear wing", "name": "1", "x_m": 0.1, "y_m": 0.05, "direction_rad": 0.0, "condition": "attached"}
CORNERS = ((0, 0), (1, 0), (1, 1), (0, 1))
PAIRS = [{"x_m": x, "y_m": y, "x_px": 1000 * x + 90, "y_px": 1000 * y + 60} for x, y in CORNERS]


class StationBody(Body):
    """A station with what is predicted there."""

    part: Annotated[str, Field(min_length=1, max_length=120)]
    name: Annotated[str, Field(min_length=1, max_length=120)]
    x_m: Metres
    y_m: Metres
    direction_rad: Turn = None
    condition: Condition = ""
    setup: Name = Field(default="", description="Whose prediction it is; empty: all setups'.")


class SentStations(Body):
    """Stations; those of each part and setup that is named take the place of the ones before."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"stations": [STATION], "source": "a drawing"}]})

    stations: list[StationBody] = Field(min_length=1, max_length=2000)
    source: Name = ""


class EarlierStationsBody(Body):
    """Another day whose stations are taken over."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"part": "rear wing", "from_day": 1}]})

    part: Annotated[str, Field(min_length=1, max_length=120)]
    from_day: int = Field(ge=1, le=2**31)


class TakenOver(BaseModel):
    """What was taken over from another day."""

    stations: int
    views: int = Field(description="Camera views on which the part's points were taken over, too.")


class StationsView(BaseModel):
    """The stations of a part as they stand."""

    part: str
    setup: str
    number: int = Field(description="How often they were set.")
    source: str
    who: str
    stations: list[StationBody]


class Pair(Body):
    """A point of the part found on the photo."""

    x_m: Metres
    y_m: Metres
    x_px: Pixels
    y_px: Pixels
    name: Name = ""


class SentPoints(Body):
    """Points by which the photo's part is laid on all photos of its view."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"points": PAIRS}]})

    points: list[Pair] = Field(max_length=100)


class PlacedView(BaseModel):
    """A station where it lies on the photo."""

    part: str
    name: str
    x_px: float
    y_px: float
    direction_rad: float | None = Field(description="The predicted one as it is seen on the photo [rad].")


class PointsView(BaseModel):
    """The points of the photo's view, how well they fit, and where the stations lie by them."""

    points: list[Pair]
    residual_px: float | None = Field(description="null: four points fit exactly, so nothing checks them.")
    stations: list[PlacedView]


class StationAgreement(BaseModel):
    """A station at which two directions or conditions are known, both on the part."""

    station: str
    x_m: float
    y_m: float
    first_rad: float | None
    second_rad: float | None
    turn_rad: float | None = Field(description="The second from the first, within (−π, π].")
    half95_rad: float | None = Field(description="Half width of the turn's 95 % interval, between setups.")
    first_condition: str
    second_condition: str


class AgreementView(BaseModel):
    """A part in a setup held against its prediction, or against another setup."""

    part: str
    setup: str
    against: str = Field(description="The other setup; empty: the prediction.")
    first: Literal["predicted", "seen"] = Field(description="What comes first: predicted, or seen in the other setup.")
    stations: list[StationAgreement]
