"""What a program says of passes, and a channel as JSON."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from server.days.schemas import Body, Expected, Reason

Seconds = Annotated[float, Field(ge=-1e7, le=1e7, description="On the run's clock [s].")]


PASS_EXAMPLE = {"start_s": 101.2, "end_s": 118.9, "used": False, "reason": "traffic"}


class PassChange(Body):
    """A person's word on a stretch of a run."""

    model_config = ConfigDict(json_schema_extra={"examples": [PASS_EXAMPLE]})

    start_s: Seconds
    end_s: Seconds
    used: bool = Field(description="Use it with these edges, or leave it out; then the reason is needed.")
    was_start_s: Seconds | None = Field(default=None, description="Where the pass started that this speaks of.")
    was_end_s: Seconds | None = Field(default=None, description="Where it ended.")
    reason: Reason = ""
    expected: Expected = None


class PassCleared(Body):
    """What was said by hand of a stretch is taken back."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"start_s": 101.2, "end_s": 118.9}]})

    start_s: Seconds
    end_s: Seconds
    reason: Reason = ""
    expected: Expected = None


class ChannelView(BaseModel):
    """A channel of a log."""

    log: str = Field(description="Path in the day's folder.")
    sha256: str = Field(description="Of the log's bytes.")
    position: int
    name: str
    unit: str | None
    n: int = Field(description="Samples.")
    first_s: float | None
    last_s: float | None


class RunChannels(BaseModel):
    """The channels of a run; while its logs are still being read, the job that reads them."""

    channels: list[ChannelView]
    job_id: str | None = None


class TraceView(BaseModel):
    """A channel in few points, each the least and greatest of `count` samples that follow each other."""

    name: str
    unit: str | None
    exact: bool = Field(description="Whether every point is one sample.")
    first_s: list[float | None]
    last_s: list[float | None]
    low: list[float | None]
    high: list[float | None]
    count: list[int]
