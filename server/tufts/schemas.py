"""Photos of tufts and the marks on them as JSON; pixels of the picture upright, radians clockwise from its +x."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Body, Reason

Name = Annotated[str, Field(max_length=120)]
Key = Annotated[str, Field(min_length=8, max_length=40, pattern=r"^[A-Za-z0-9-]+$")]
Pixels = Annotated[float, Field(ge=0, le=100_000, description="On the picture turned upright [px].")]
Turn = Annotated[
    float | None,
    Field(ge=-2 * math.pi, le=2 * math.pi, description="Root to loose end, clockwise from +x [rad]; null: not said."),
]
Condition = Literal["", "attached", "unsteady", "separated", "reversed"]
PHOTOS_EXAMPLE = {"uploads": ["UPLOAD"], "part": "rear wing", "view": "left rear", "run": 1}
MARK_EXAMPLE = {"entry": "entry-0001", "mark": "mark-0001", "x_px": 812.5, "y_px": 430.0, "direction_rad": 0.21}


class NewPhotos(Body):
    """Photos that have come in as uploads."""

    model_config = ConfigDict(json_schema_extra={"examples": [PHOTOS_EXAMPLE]})

    uploads: list[Annotated[str, Field(max_length=64)]] = Field(max_length=100)
    kind: Literal["photo", "prediction"] = Field(
        default="photo", description="A photo of tufts, or a picture of the predicted surface flow."
    )
    part: Name = ""
    view: Name = Field(default="", description="The camera's place: photos of one view lie alike.")
    run: int | None = Field(default=None, ge=0, le=2**31, description="null: the camera's clock is asked.")
    setup: Name = Field(default="", description="Where there is no run.")
    notes: str = Field(default="", max_length=4000)
    burst: Literal["by-time", "together", "apart"] = Field(
        default="by-time",
        description="Which of them are one burst: those taken within seconds, all that are sent, or none.",
    )


class SentMark(Body):
    """A mark as it stands after a change of it; what was kept before is not kept twice."""

    model_config = ConfigDict(json_schema_extra={"examples": [MARK_EXAMPLE]})

    entry: Key = Field(description="Names this one change.")
    mark: Key = Field(description="Names the mark.")
    x_px: Pixels
    y_px: Pixels
    direction_rad: Turn = None
    condition: Condition = Field(default="", description="Empty while nobody judged it.")
    station: Name = ""
    by: Literal["person", "machine"] = Field(default="person", description="machine: a proposal that was accepted.")
    removed: bool = False


class SentMarks(Body):
    """Changes of marks of the sender's own reading, in their order."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"entries": [MARK_EXAMPLE]}]})

    entries: list[SentMark] = Field(max_length=500)
    reason: Reason = ""


class MarkView(BaseModel):
    """A mark as it stands."""

    mark: str
    number: int = Field(description="How often it was set or changed.")
    x_px: float
    y_px: float
    direction_rad: float | None
    condition: str
    station: str
    by: str = Field(description="person or machine.")
    length_px: float | None = None
    direction_u_rad: float | None = Field(default=None, description="Standard uncertainty of the direction.")
    direction_settled_by: str | None = Field(
        default=None, description="What told root from loose end; null: the direction may be the opposite one."
    )
    spread_rad: float | None = Field(
        default=None, description="Of the direction over the frames of a burst: circular standard deviation."
    )


class KeptMarks(BaseModel):
    """What is kept of what was sent: all of it, also what had been sent before."""

    entries: list[str]
    kept: int = Field(description="How many of them are new.")


class PhotoView(BaseModel):
    """A photo as it stands."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    kind: str
    sha256: str = Field(description="Of the file as it came.")
    name: str
    path: str = Field(description="In the day's folder.")
    width_px: int
    height_px: int
    taken: str = Field(description="What the camera's clock said; empty where it said nothing.")
    camera: str
    said: str = Field(description="What a person should know of the file.")
    run: int | None
    setup: str
    part: str
    view: str
    notes: str
    settled: bool = Field(description="A person said which run it is, not the clock.")
    standing: bool = Field(description="Taken of the standing car in still air.")
    flow_rad: float | None
    burst: str = Field(description="A name common to the frames of one burst; empty: it is of none.")


class PhotoReadings(PhotoView):
    """A photo with all readings of it."""

    readings: dict[str, list[MarkView]] = Field(description="Who → marks; the program's own proposals under its name.")


class PhotoChange(Body):
    """What else is said of a photo; what is left out stays as it stands."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"part": "rear wing", "view": "left rear"}]})

    run: int | None = Field(default=None, ge=0, le=2**31)
    setup: Name | None = None
    part: Name | None = None
    view: Name | None = None
    notes: str | None = Field(default=None, max_length=4000)
    standing: bool | None = None
    burst: Name | None = Field(default=None, description="A name common to the frames of one burst; empty: of none.")
    removed: bool | None = Field(default=None, description="It is looked at no more; the file stays kept.")
    reason: Reason = ""
