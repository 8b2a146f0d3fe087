"""Pictures of photos as they are shown, and the file as it came, which may tell more than is meant to be told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, Response

from server.archive.archive import Archive
from server.days.day_addresses_pages import DayId, season_crumb
from server.days.incoming import safe_name
from server.days.revisions import newest_day
from server.dependencies import TheArchive
from server.errors import NotFoundError
from server.templating import Crumb, Page, render
from server.tufts.addresses_pages import PhotoId, photo_title, tufts_crumb
from server.tufts.decoding import SIZES
from server.tufts.originals import CAUTION
from server.tufts.pictures import shown_picture
from server.tufts.service import Photo, find_photo

router = APIRouter(default_response_class=HTMLResponse)
FOREVER = "private, max-age=31536000, immutable"
JPEG, BYTES = "image/jpeg", "application/octet-stream"


@dataclass(frozen=True, kw_only=True)
class OriginalPage(Page):
    """What the file as it came may tell, before it is handed out."""

    template: ClassVar[str] = "tufts/original.html"
    help: ClassVar[str] = "tufts"
    day_id: int
    photo: Photo
    caution: str


@router.get("/days/{day_id}/tufts/{photo_id}/picture/{size}", name="photo_picture", response_class=Response)
def picture(
    day_id: DayId, photo_id: PhotoId, size: Annotated[str, Path(max_length=10)], archive: TheArchive
) -> FileResponse:
    """The photo as it is shown: made of its pixels alone."""
    if size not in SIZES:
        raise NotFoundError(f"A picture comes in the sizes {', '.join(SIZES)}.")
    photo = _found(archive, day_id, photo_id)
    file = shown_picture(archive.folder, archive.raw, photo.sha256, name=photo.name, size=size)
    return FileResponse(file, media_type=JPEG, headers={"Cache-Control": FOREVER})


@router.get("/days/{day_id}/tufts/{photo_id}/original", name="photo_original")
def original(
    request: Request, day_id: DayId, photo_id: PhotoId, archive: TheArchive,
    take: Annotated[bool, Query()] = False,
) -> Response:  # fmt: skip
    """A caution; then the file as it came."""
    photo = _found(archive, day_id, photo_id)
    if take:
        file, headers = archive.raw.path(photo.sha256), {"Content-Security-Policy": "sandbox"}
        return FileResponse(file, media_type=BYTES, filename=safe_name(photo.name), headers=headers)
    up = Crumb(photo_title(photo), str(request.app.url_path_for("photo", day_id=str(day_id), photo_id=str(photo_id))))
    crumbs = (season_crumb(request), tufts_crumb(request, day_id), up)
    page = OriginalPage(title="The file as it came", crumbs=crumbs, day_id=day_id, photo=photo, caution=CAUTION)
    return render(request, page)


def _found(archive: Archive, day_id: int, photo_id: int) -> Photo:
    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        return find_photo(session, day, day_id, photo_id)
