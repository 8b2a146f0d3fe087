"""What was sent with a form, put on disk for the job that reads it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import BinaryIO

from server.archive.archive import Archive
from server.archive.jobs import add_job, new_job_id
from server.archive.worker import Payload
from server.days.service import FIT_JOB
from server.days.typed_day import SentLog, write_typed_day
from server.errors import UploadError

BLOCK_BYTES = 1 << 20
ZIP_START = b"PK"


def queue_zip(archive: Archive, name: str, content: BinaryIO) -> str:
    """Queue a zipped day folder; gives the job. Raises UploadError when nothing or no zip was sent."""
    safe = safe_name(name)
    start = content.read(len(ZIP_START))
    content.seek(0)
    if not name or not start:
        raise UploadError("No file was sent; choose a zipped test-day folder.")
    if start != ZIP_START:
        raise UploadError(
            f"{name} is not a zip; zip the test-day folder, or send logs with mass and air below."
        )

    def fill(scratch: Path) -> Payload:
        with (scratch / safe).open("wb") as target:
            shutil.copyfileobj(content, target, BLOCK_BYTES)
        return {"zip": str(scratch / safe)}

    return _queue(archive, name, fill)


def queue_typed_day(archive: Archive, fields: Mapping[str, str], logs: list[SentLog]) -> str:
    """Queue logs with what was typed about them; gives the job. Raises UploadError for what is wrong."""

    def fill(scratch: Path) -> Payload:
        write_typed_day(fields, logs, scratch / "typed")
        return {"folder": str(scratch / "typed")}

    label = fields.get("name", "").strip() or ", ".join(log.name for log in logs[:3])
    return _queue(archive, label, fill)


def safe_name(name: str) -> str:
    """A file name without folders, spaces or signs that a system could take for something else."""
    last = Path(name.replace("\\", "/")).name
    return (re.sub(r"[^A-Za-z0-9._ -]+", "_", last).strip("._ ") or "day.zip")[-100:]


def _queue(archive: Archive, label: str, fill: Callable[[Path], Payload]) -> str:
    """Write what came into the job's own folder, then the job; nothing stays when that fails."""
    job_id = new_job_id()
    scratch = archive.incoming(job_id)
    try:
        payload = {"scratch": str(scratch), "sent_as": label, **fill(scratch)}
        with archive.database.writing() as session:
            add_job(session, FIT_JOB, label, payload, job_id)
    except BaseException:
        archive.drop_incoming(job_id)
        raise
    return job_id
