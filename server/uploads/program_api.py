"""A file from a program, whole in one request; what may break off on the way is better sent by the tus protocol."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from server.days.schemas import Problem
from server.dependencies import CurrentPerson
from server.errors import UploadError
from server.uploads.api import TheUploads, device_of, upload_view
from server.uploads.schemas import UploadView

router = APIRouter(prefix="/api", tags=["uploads"])
FileName = Annotated[str, Query(min_length=1, max_length=200)]
BYTES = "application/octet-stream"
BODY = {"required": True, "content": {BYTES: {"schema": {"type": "string", "format": "binary"}}}}
CUT_OFF = "The file broke off on its way; send it again."
REFUSALS = {status: {"model": Problem} for status in (413, 422, 507)}


@router.post(
    "/uploads", name="api_send", status_code=201, summary="Send a file", responses=REFUSALS,  # type: ignore[arg-type]
    openapi_extra={"requestBody": BODY},
)  # fmt: skip
async def send(
    request: Request, uploads: TheUploads, person: CurrentPerson, name: FileName
) -> UploadView:  # fmt: skip
    """Kept byte for byte under its SHA-256; its number then names it where a day or runs are added."""
    size = int(request.headers.get("content-length", "0"))
    upload = await run_in_threadpool(uploads.begin, name, size, "", person, device_of(request))
    try:
        at = 0
        async for piece in request.stream():
            at = await run_in_threadpool(uploads.append, upload.id, at, piece)
    except ClientDisconnect:
        await run_in_threadpool(uploads.drop, upload.id, person)
        raise UploadError(CUT_OFF) from None
    return await run_in_threadpool(upload_view, upload.id, uploads)
