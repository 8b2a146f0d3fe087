"""What the pages of photos share: their numbers in addresses, their names, the way up."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request

from server.templating import Crumb
from server.tufts.service import Photo

PhotoId = Annotated[int, Path(ge=1, le=2**31)]


def tufts_crumb(request: Request, day_id: int) -> Crumb:
    """The way up to the photos of a day."""
    return Crumb("Tufts", str(request.app.url_path_for("tufts", day_id=str(day_id))))


def photo_title(photo: Photo) -> str:
    """A photo as it is called."""
    what = photo.part or photo.name
    run = f", run {photo.run}" if photo.run is not None else ""
    return f"{what}{run}" + (f", {photo.view}" if photo.view else "")
