"""The routes of resumable uploads: tus 1.0.0 with creation, expiration and termination; and an upload as JSON."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import asdict
from email.utils import format_datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.days.schemas import Problem
from server.dependencies import CurrentPerson
from server.errors import ASK_LATER, ArchiveBusyError, DiskFullError, NotFoundError, StillairError, StoreError
from server.uploads import tus
from server.uploads.schemas import UploadView
from server.uploads.service import KEPT_FOR, RECEIVING, OffsetError, TooLargeError, Uploads
from server.uploads.tables import Upload

router = APIRouter()

AT = "/uploads"
WRITE_BYTES = 1 << 20
SAFE_EVERY_BYTES = 8 << 20  # a long PATCH is made safe in such steps, so that a kill costs no more
STATUS = {
    OffsetError: 409,
    TooLargeError: 413,
    DiskFullError: 507,
    ArchiveBusyError: 503,
    StoreError: 503,
    NotFoundError: 404,
    tus.ProtocolError: 400,
}
NO_DEFERRED = "The header Upload-Length must say how long the file is."
WRONG_TYPE = f"The bytes of a file are sent as {tus.BODY_TYPE}."
WRONG_VERSION = f"This server speaks version {tus.VERSION} of the protocol."


def _uploads(request: Request) -> Uploads:
    return request.app.state.uploads


TheUploads = Annotated[Uploads, Depends(_uploads)]


@router.options(AT, name="uploads", include_in_schema=False)
@router.options(f"{AT}/{{upload_id}}", include_in_schema=False)
def options(uploads: TheUploads) -> Response:
    """What this server can do."""
    can = {"Tus-Version": tus.VERSION, "Tus-Extension": tus.EXTENSIONS, "Tus-Max-Size": str(uploads.limit_bytes)}
    return Response(status_code=204, headers=can)


@router.post(AT, name="begin_upload", include_in_schema=False)
def begin(request: Request, uploads: TheUploads, person: CurrentPerson) -> Response:
    """Begin an upload; its address comes back."""
    headers = request.headers
    try:
        _check_version(headers)
        if "upload-defer-length" in headers:
            raise tus.ProtocolError(NO_DEFERRED)
        size = tus.number("Upload-Length", headers.get("upload-length"))
        sent = headers.get("upload-metadata", "")
        name = tus.file_name(tus.metadata(sent))
        upload = uploads.begin(name, size, sent, person, device_of(request))
    except StillairError as refusal:
        return _refused(refusal)
    return Response(status_code=201, headers={"Location": f"{AT}/{upload.id}", **_expiry(upload)})


@router.head(f"{AT}/{{upload_id}}", name="upload", include_in_schema=False)
def stands_at(upload_id: str, request: Request, uploads: TheUploads) -> Response:
    """Where an upload stands."""
    try:
        _check_version(request.headers)
        upload = uploads.settle(upload_id)
    except StillairError as refusal:
        return _refused(refusal)
    headers = {**_offset(upload), "Upload-Length": str(upload.size_bytes), **_expiry(upload)}
    if upload.sent_metadata:
        headers["Upload-Metadata"] = upload.sent_metadata
    return Response(headers=headers)


@router.patch(f"{AT}/{{upload_id}}", include_in_schema=False)
async def take(upload_id: str, request: Request, uploads: TheUploads) -> Response:
    """Take the next bytes; 204 with the new offset once they are safe on disk."""
    try:
        await _take(upload_id, request, uploads)
        upload = await run_in_threadpool(uploads.settle, upload_id)
    except ClientDisconnect:
        await run_in_threadpool(uploads.settle, upload_id)
        return Response(status_code=400)  # to nobody
    except StillairError as refusal:
        return _refused(refusal)
    return Response(status_code=204, headers={**_offset(upload), **_expiry(upload)})


@router.delete(f"{AT}/{{upload_id}}", include_in_schema=False)
def drop(upload_id: str, request: Request, uploads: TheUploads, person: CurrentPerson) -> Response:
    """Give an upload up."""
    try:
        _check_version(request.headers)
        uploads.drop(upload_id, person)
    except StillairError as refusal:
        return _refused(refusal)
    return Response(status_code=204)


@router.get(
    "/api/uploads/{upload_id}", name="api_upload", tags=["uploads"], summary="How far an upload is",
    responses={404: {"model": Problem}, 422: {"model": Problem}},
)  # fmt: skip
def upload_view(upload_id: str, uploads: TheUploads) -> UploadView:
    """An upload: how much of it is safe on disk, and where the same bytes were before."""
    upload = uploads.settle(upload_id)
    same = uploads.same_as(upload)
    columns = {name: getattr(upload, name) for name in UploadView.model_fields if name != "same_as"}
    return UploadView.model_validate({**columns, "same_as": asdict(same) if same else None})


def device_of(request: Request) -> str:
    """A device as the archive notes it: its address and what its browser calls itself."""
    address = request.client.host if request.client else ""
    return f"{address} {request.headers.get('user-agent', '')}"[:200].strip()


async def _take(upload_id: str, request: Request, uploads: Uploads) -> None:
    headers = request.headers
    _check_version(headers)
    if headers.get("content-type", "").partition(";")[0].strip().lower() != tus.BODY_TYPE:
        raise _WrongTypeError(WRONG_TYPE)
    at = tus.number("Upload-Offset", headers.get("upload-offset"))
    upload = await run_in_threadpool(uploads.settle, upload_id)
    if at != upload.received_bytes:
        raise OffsetError(f"{upload.name} stands at byte {upload.received_bytes}, not at {at}.")
    if at + int(headers.get("content-length", "0")) > upload.size_bytes:
        raise TooLargeError(f"{upload.name} was announced with {upload.size_bytes} bytes; more were sent.")
    safe = at
    async for piece in _pieces(request):
        at = await run_in_threadpool(uploads.append, upload_id, at, piece)
        if at - safe >= SAFE_EVERY_BYTES:
            safe = (await run_in_threadpool(uploads.settle, upload_id)).received_bytes


async def _pieces(request: Request) -> AsyncIterator[bytes]:
    """The body in pieces of about WRITE_BYTES; when the sender is lost, what had come is given before that is said."""
    buffer = bytearray()
    lost: ClientDisconnect | None = None
    try:
        async for chunk in request.stream():
            buffer += chunk
            if len(buffer) >= WRITE_BYTES:
                yield bytes(buffer)
                buffer.clear()
    except ClientDisconnect as gone:
        lost = gone
    if buffer:
        yield bytes(buffer)
    if lost:
        raise lost


class _WrongTypeError(tus.ProtocolError):
    """A body of another type."""


class _VersionError(tus.ProtocolError):
    """Another version of the protocol."""


def _check_version(headers: Headers) -> None:
    if headers.get("tus-resumable") != tus.VERSION:
        raise _VersionError(WRONG_VERSION)


def _offset(upload: Upload) -> dict[str, str]:
    return {"Upload-Offset": str(upload.received_bytes), "Cache-Control": "no-store"}


def _expiry(upload: Upload) -> dict[str, str]:
    if upload.state != RECEIVING:
        return {}
    return {"Upload-Expires": format_datetime(upload.touched_at + KEPT_FOR, usegmt=True)}


def _refused(refusal: StillairError) -> Response:
    status = {**STATUS, _WrongTypeError: 415, _VersionError: 412}.get(type(refusal), 422)
    headers = {412: {"Tus-Version": tus.VERSION}, 503: ASK_LATER}.get(status, {})
    return JSONResponse({"error": str(refusal)}, status, {"Cache-Control": "no-store", **headers})


class Protocol:
    """Around the application: what the protocol says of every request and answer under /uploads.

    Every answer names the version; X-HTTP-Method-Override, for senders that know neither PATCH nor DELETE, is the
    method, before anything looks at it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or not f"{scope['path']}/".startswith(f"{AT}/"):
            await self._app(scope, receive, send)
            return
        method = Headers(scope=scope).get("x-http-method-override", scope["method"]).upper()
        await self._app({**scope, "method": method}, receive, _naming_version(send))


def _naming_version(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message)["Tus-Resumable"] = tus.VERSION
        await send(message)

    return sending
