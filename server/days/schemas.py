"""Days, their revisions and jobs as JSON."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field


class Problem(BaseModel):
    """What went wrong."""

    error: str = Field(description="One sentence.")


class DayView(BaseModel):
    """A test day."""

    model_config = ConfigDict(from_attributes=True)

    id: int
    name: str
    date: dt.date | None
    sent_as: str
    added_at: dt.datetime
    content_sha256: str = Field(description="Of the day's first revision.")


class RevisionView(BaseModel):
    """A day as it stood from one change to the next."""

    model_config = ConfigDict(from_attributes=True)

    number: int
    who: str
    what: str = Field(description="What was changed.")
    made_at: dt.datetime
    content_sha256: str


class DayWithSummary(DayView):
    """A test day and what its newest result says; null while it has none."""

    summary: dict[str, Any] | None


class DayWithRevisions(DayView):
    """A test day and its revisions, the newest first."""

    revisions: list[RevisionView]


class RevisionValues(BaseModel):
    """A revision's values, SI inside, and its files (path → SHA-256)."""

    revision: RevisionView
    files: dict[str, str]
    day: dict[str, Any]


class FieldView(BaseModel):
    """A field of a form."""

    label: str
    kind: str = Field(description="number, quantity, text, lines, choice, date or checks.")
    unit: str = Field(description="Of the field's numbers; empty for numbers without one.")
    hint: str
    options: dict[str, str] = Field(description="What may stand there, and its words; empty for anything.")
    values: dict[str, Any] = Field(description="What stands there now, under the names that a change takes.")


class FormView(BaseModel):
    """One thing of a day: how it stands, and what a change of it may send."""

    slug: str
    title: str
    now: str = Field(description="How it stands, in words.")
    revision: int = Field(description="The revision that this is; sent back as `expected`.")
    clears: str = Field(description="What `clear` would do; empty where it does nothing.")
    fields: list[FieldView]


class ThingView(BaseModel):
    """One thing of a day that can be changed."""

    slug: str
    title: str
    now: str


Reason = Annotated[str, Field(max_length=400, description="Why, for the history.")]
Expected = Annotated[
    int | None,
    Field(ge=1, le=2**31, description="The revision that was looked at; a later one refuses the change."),
]


class Body(BaseModel):
    """What a program sends: every type as it is written, nothing beyond what is known."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


CHANGE_EXAMPLE = {"fields": {"value": 237.5, "value_u": 0.4}, "reason": "on four scales", "expected": 1}


class ThingChange(Body):
    """A change of one thing. What `fields` leaves out stays as it stands; null empties a field."""

    model_config = ConfigDict(json_schema_extra={"examples": [CHANGE_EXAMPLE]})

    fields: dict[str, Any] = Field(default={}, description="Values in the units of the form.")
    clear: bool = Field(default=False, description="Take it away, or back to its default.")
    also: list[Annotated[int, Field(ge=1, le=2**31)]] = Field(
        default=[], max_length=1000, description="Other days of the same car on which the same value stands."
    )
    reason: Reason = ""
    expected: Expected = None


class Changed(BaseModel):
    """A change that was kept, and the job that fits the day anew."""

    revision: int
    job_id: str
    what: str
    also: list[int] = Field(default=[], description="The other days that got the same correction.")
    refused: list[str] = Field(default=[], description="Why some of them stay as they were.")


class ChannelsChange(Body):
    """Which column plays which role; null takes a role's column away."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"channels": {"gps_speed": "speed over ground"}}]})

    channels: dict[str, Annotated[str, Field(min_length=1, max_length=400)] | None] = Field(min_length=1)
    run: Annotated[int, Field(ge=0, le=2**31)] | None = Field(default=None, description="For one run alone.")
    reason: Reason = ""
    expected: Expected = None


class UploadedFolder(Body):
    """A zipped test-day folder that has come in as an upload."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"upload_id": "UPLOAD"}]})

    upload_id: str = Field(max_length=100)


class LogRow(Body):
    """A log that has come in as an upload."""

    upload_id: str = Field(max_length=100)
    setup: str = Field(min_length=1, max_length=40)
    direction: Literal["out", "back"] | None = None


LOGS_EXAMPLE = {
    "logs": [{"upload_id": "UPLOAD", "setup": "A"}],
    "mass": 236.0,
    "pressure": 1009.0,
    "temperature": 17.0,
    "coasting": "neutral",
}


class UploadedLogs(Body):
    """Logs with what is needed beside them, in the units of the page's form."""

    model_config = ConfigDict(json_schema_extra={"examples": [LOGS_EXAMPLE]})

    logs: list[LogRow] = Field(min_length=1, max_length=200)
    mass: float = Field(description="Car, ready to run, without driver [kg].")
    driver_mass: float | None = Field(default=None, description="[kg]")
    pressure: float = Field(description="At the station, not reduced to sea level [hPa].")
    temperature: float = Field(description="[°C]")
    humidity: float | None = Field(default=None, description="[%]")
    coasting: Literal["neutral", "clutch", "inverter-off", "zero-torque", "in-gear"]
    reference_speed: float = Field(default=79.2, description="[km/h]")
    heading: float | None = Field(default=None, description="True heading of the straight, travelling out [°].")
    name: str = Field(default="", max_length=120)
    date: str = Field(default="", max_length=40, description="Year-month-day; today when empty.")
    channels: dict[str, str] = Field(default={}, max_length=100, description="Role → column.")


RUNS_EXAMPLE = {"logs": [{"upload_id": "UPLOAD", "setup": "A", "driver": 72.0, "coasting": "neutral"}]}


class NewRun(Body):
    """A log that has come in as an upload, and what is known of its run."""

    upload_id: str = Field(max_length=100)
    setup: str = Field(min_length=1, max_length=40, description="One of the day's.")
    start: str = Field(default="", max_length=20, description="Such as 09:09; the log's own clock when empty.")
    driver: float | None = Field(default=None, description="Driver with helmet and suit [kg].")
    direction: Literal["out", "back"] | None = None
    coasting: Literal["neutral", "clutch", "inverter-off", "zero-torque", "in-gear"] | None = None
    notes: str = Field(default="", max_length=2000)
    channels: dict[str, str] = Field(default={}, max_length=100, description="Role → column, where it is known.")


class NewRuns(Body):
    """Logs for a day that is there."""

    model_config = ConfigDict(json_schema_extra={"examples": [RUNS_EXAMPLE]})

    logs: list[NewRun] = Field(min_length=1, max_length=100)
    reason: Reason = ""


class Queued(BaseModel):
    """Work that was taken; the job tells what comes of it."""

    job_id: str


class JobView(BaseModel):
    """A piece of long work."""

    model_config = ConfigDict(from_attributes=True)

    id: str
    kind: str
    label: str
    lane: str
    day_id: int | None
    state: str = Field(description="queued, running, done, failed or cancelled.")
    fraction: float
    text: str
    error: str | None
    target: str | None = Field(description="Number of what came of it: of a day, a study, a season, a check.")
    created_at: dt.datetime
    finished_at: dt.datetime | None
