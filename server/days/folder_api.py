"""A day's own bytes: its folder as a zip, and any kept file by its SHA-256."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from fastapi.responses import FileResponse, Response, StreamingResponse

from server.days.api import BINARY, REFUSALS, ZIP, Number
from server.days.holding import days_holding
from server.days.incoming import safe_name
from server.days.service import find_day, find_revision, newest_revision, revision_files
from server.days.zip_stream import zip_pieces
from server.dependencies import TheArchive
from server.errors import StillairError
from server.tufts.folder import with_tufts
from server.tufts.originals import TAKE, is_picture

BYTES = "application/octet-stream"
Revision = Annotated[int | None, Query(ge=1, le=2**31, description="Which revision; the newest where none is named.")]

router = APIRouter(responses=REFUSALS, tags=["files"])


def _bytes_of(kind: str) -> dict[int | str, dict[str, Any]]:
    return {200: {"content": {kind: {"schema": BINARY}}, "description": "The bytes."}}


@router.get(
    "/api/days/{day_id}/folder.zip", name="api_day_folder", summary="A day's folder as a zip",
    response_class=Response, responses=_bytes_of(ZIP),
)  # fmt: skip
@router.get("/days/{day_id}/folder.zip", name="day_folder", response_class=Response, include_in_schema=False)
def folder(day_id: Number, archive: TheArchive, revision: Revision = None) -> StreamingResponse:
    """What `stillair export` writes: added to another archive it gives the same results to the last digit.

    The newest revision comes with its tuft photos and marks as they stand.
    """
    with archive.database.reading() as session:
        day = find_day(session, day_id)
        chosen = find_revision(session, day_id, revision) if revision else newest_revision(session, day_id)
        kept = revision_files(session, chosen.id)
        stem = re.sub(r"\.zip$", "", safe_name(day.name))
        name = f"{stem} revision {chosen.number}.zip"
        own = {path: archive.raw.path(sha256) for path, sha256 in kept.items()}
        files = with_tufts(archive, session, day_id, own) if revision is None else dict(own)
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(zip_pieces(files), media_type=ZIP, headers=headers)


@router.get(
    "/api/files/{sha256}", name="api_file", summary="A kept file by its SHA-256",
    response_class=Response, responses=_bytes_of(BYTES),
)  # fmt: skip
def kept_file(
    sha256: Annotated[str, Path(max_length=64)], archive: TheArchive,
    take: Annotated[bool, Query(description="Also a picture, which may tell where it was taken.")] = False,
) -> FileResponse:  # fmt: skip
    """Byte for byte as it came, to be saved: a browser never shows it as a page of this server.

    A picture is handed out with take=true alone: it may hold where it was taken.
    """
    file = archive.raw.path(sha256)
    if not take and is_picture(file):
        raise StillairError(TAKE)
    with archive.database.reading() as session:
        held = days_holding(session, sha256)
    name = safe_name(held[0].path) if held else sha256
    return FileResponse(file, media_type=BYTES, filename=name, headers={"Content-Security-Policy": "sandbox"})
