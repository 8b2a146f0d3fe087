"""What was sent with a form, put on disk for the job that reads it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from server.archive.archive import Archive
from server.archive.disk import disk_in_words, sync_tree
from server.archive.jobs import add_job, new_job_id
from server.archive.worker import Payload
from server.days.column_choices import choices
from server.days.service import FIT_JOB, lay_out
from server.days.typed_day import SentLog, write_typed_day
from server.errors import UploadError
from server.uploads.service import received_upload

BLOCK_BYTES = 1 << 20
ZIP_START = b"PK"


@dataclass(frozen=True, slots=True)
class UploadedLog:
    """A row of the logs form whose file came in by itself: the upload, its setup and, where said, its direction."""

    upload_id: str
    setup: str
    direction: str = ""


def queue_zip(archive: Archive, name: str, content: BinaryIO, who: str = "") -> str:
    """Queue a zipped day folder; gives the job. Raises UploadError when nothing or no zip was sent."""
    _check_zip(name, content)

    def fill(scratch: Path) -> Payload:
        with (scratch / safe_name(name)).open("wb") as target:
            shutil.copyfileobj(content, target, BLOCK_BYTES)
        return {"zip": str(scratch / safe_name(name))}

    return _queue(archive, name, fill, who)


def queue_uploaded_zip(archive: Archive, upload_id: str, who: str = "") -> str:
    """The same of a zip that has come in as an upload; it is not copied where the disk knows links."""
    name, sha256 = _received(archive, upload_id)
    with archive.raw.path(sha256).open("rb") as content:
        _check_zip(name, content)

    def fill(scratch: Path) -> Payload:
        lay_out(archive.raw, sha256, scratch / safe_name(name))
        return {"zip": str(scratch / safe_name(name))}

    return _queue(archive, name, fill, who)


def queue_uploaded_logs(archive: Archive, fields: Mapping[str, str], rows: Sequence[UploadedLog], who: str = "") -> str:
    """Queue logs that have come in as uploads, with what was typed about them; gives the job. Raises UploadError."""
    with ExitStack() as opened:
        logs = []
        for row in rows:
            name, sha256 = _received(archive, row.upload_id)
            content = opened.enter_context(archive.raw.path(sha256).open("rb"))
            logs.append(SentLog(name, content, row.setup, row.direction))
        return queue_typed_day(archive, fields, logs, who)


def queue_typed_day(archive: Archive, fields: Mapping[str, str], logs: list[SentLog], who: str = "") -> str:
    """Queue logs with what was typed about them; gives the job. Raises UploadError for what is wrong."""

    def fill(scratch: Path) -> Payload:
        write_typed_day(fields, logs, scratch / "typed")
        return {"folder": str(scratch / "typed")}

    label = fields.get("name", "").strip() or ", ".join(log.name for log in logs[:3])
    return _queue(archive, label, fill, who)


def safe_name(name: str) -> str:
    """A file name without folders, spaces or signs that a system could take for something else."""
    last = Path(name.replace("\\", "/")).name
    return (re.sub(r"[^A-Za-z0-9._ -]+", "_", last).strip("._ ") or "day.zip")[-100:]


def _received(archive: Archive, upload_id: str) -> tuple[str, str]:
    """Name and SHA-256 of an upload that has come in whole. Raises UploadError."""
    with archive.database.reading() as session:
        upload = received_upload(session, upload_id)
        return upload.name, upload.sha256 or ""


def _check_zip(name: str, content: BinaryIO) -> None:
    start = content.read(len(ZIP_START))
    content.seek(0)
    if not name or not start:
        raise UploadError("No file was sent; choose a zipped test-day folder.")
    if start != ZIP_START:
        raise UploadError(f"{name} is not a zip; zip the test-day folder, or send logs with mass and air below.")


def _queue(archive: Archive, label: str, fill: Callable[[Path], Payload], who: str) -> str:
    """Write what came into the job's own folder, then the job; nothing stays when that fails.

    All of it is safe on disk before the job is written down: who is told of the job need not send it again.
    """
    job_id = new_job_id()
    scratch = archive.incoming(job_id)
    try:
        with disk_in_words():
            payload = {"scratch": str(scratch), "sent_as": label, "who": who, **fill(scratch)}
            sync_tree(scratch)
        with archive.database.writing() as session:
            add_job(session, FIT_JOB, label, {**payload, "choices": choices(session)}, job_id, who=who)
    except BaseException:
        archive.drop_incoming(job_id)
        raise
    return job_id
