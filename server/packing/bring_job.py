"""A packed season that was sent: taken apart and checked in the worker, kept in one transaction by the server."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import BinaryIO

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.disk import disk_in_words, sync_tree
from server.archive.jobs import JobKind, add_job, new_job_id
from server.archive.worker import Payload, Progress
from server.days.incoming import safe_name
from server.days.job_view import UNPACK_JOB
from server.errors import UploadError
from server.packing.bringing import bring_within, check_empty
from server.packing.unpacking import Unpacked, read_unpacked, unpack

LANE = "long"
ZIP_START = b"PK"
APART = ".apart"  # no file that was sent has such a name
NO_FILE = "No file was sent; choose the zip of a packed season."
NO_ZIP = "{name} is no zip; choose one that “Pack this season” or `stillair pack` has made."


def queue_unpacking(archive: Archive, name: str, content: BinaryIO, who: str) -> str:
    """Queue what was sent, kept beside the job. Raises StillairError for no zip, or an archive that is not empty."""
    start = content.read(len(ZIP_START))
    content.seek(0)
    if not name or not start:
        raise UploadError(NO_FILE)
    if start != ZIP_START:
        raise UploadError(NO_ZIP.format(name=name))
    with archive.database.reading() as session:
        check_empty(session)
    job_id = new_job_id()
    scratch = archive.incoming(job_id)
    try:
        with disk_in_words():
            with (scratch / safe_name(name)).open("wb") as target:
                shutil.copyfileobj(content, target, 1 << 20)
            sync_tree(scratch)  # who is told of the job need not send it again
        payload = {"scratch": str(scratch), "name": safe_name(name), "who": who}
        with archive.database.writing() as session:
            add_job(session, UNPACK_JOB, f"{name} unpacked", payload, job_id, lane=LANE, who=who)
    except BaseException:
        archive.drop_incoming(job_id)
        raise
    return job_id


def unpack_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: every file checked against the manifest, laid out in scratch."""
    progress(0.0, "reading the zip")
    scratch = Path(payload["scratch"])
    folder = scratch / APART
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    folder.mkdir()
    unpack(scratch / payload["name"], folder, progress)
    progress(0.95, "keeping")
    return {}


def keep_unpacked(archive: Archive, session: Session, payload: Payload, _: Payload) -> str:
    """In the server: keep all of it; gives how many days."""
    unpacked: Unpacked = read_unpacked(Path(payload["scratch"]) / APART, payload["name"])
    return str(bring_within(archive, session, unpacked, payload["who"]))


UNPACK_KINDS = {UNPACK_JOB: JobKind(unpack_work, keep_unpacked)}
