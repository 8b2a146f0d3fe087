"""An upload as JSON."""

from __future__ import annotations

import datetime as dt

from pydantic import BaseModel, Field


class Holder(BaseModel):
    """A test day that holds the same bytes."""

    day_id: int
    name: str = Field(description="The day's name.")
    path: str = Field(description="Path of the file in the day's folder.")


class SameBytes(BaseModel):
    """Where the bytes were before."""

    upload_id: str | None = Field(description="The first upload that brought them.")
    days: list[Holder]


class UploadView(BaseModel):
    """A file that is coming in or has come in."""

    id: str
    name: str
    size_bytes: int
    received_bytes: int = Field(description="Bytes that are safe on disk.")
    state: str = Field(description="receiving or received.")
    sha256: str | None = Field(description="Of the whole file, once it has come in.")
    same_as: SameBytes | None = Field(description="Where the same bytes were before; null when they are new.")
    created_at: dt.datetime
    touched_at: dt.datetime
