"""What came of work, until it is kept: written down beside the job's files, so that a server that is started anew keeps
it and does not work it out again; and what a job waits for meanwhile, for its page, where nothing can be written."""

from __future__ import annotations

import errno
import json
from contextlib import suppress
from pathlib import Path

from server import __version__
from server.archive.archive import Archive
from server.archive.worker import Payload
from server.errors import ArchiveBusyError, DiskFullError, StoreError

FILE = ".outcome.json"
WAITS = "The work is done and nothing of it is lost; it is kept as soon as it can be. {why}"
CANNOT = "The archive's disk cannot be written ({why}); see that it is there, whole and may be written."
# What passes, or is mended by a person; another error of the system is a mistake of the program.
PASSING = {
    *(errno.EIO, errno.EACCES, errno.EPERM, errno.EROFS, errno.ENODEV, errno.ENXIO, errno.EBUSY, errno.EAGAIN),
    *(errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.ESTALE, errno.ETIMEDOUT, errno.ENOTCONN, errno.EHOSTDOWN),
}
waiting: dict[str, str] = {}  # job → sentence, of this process


def reason_to_wait(error: Exception) -> str:
    """Why a try to keep an outcome is made again later; "" where it must not be."""
    if isinstance(error, (ArchiveBusyError, DiskFullError, StoreError)):
        return str(error)
    return CANNOT.format(why=error.strerror) if isinstance(error, OSError) and error.errno in PASSING else ""


def leave(archive: Archive, job_id: str, outcome: Payload) -> None:
    """Write an outcome down; where it cannot be, the work is done again after a new start."""
    with suppress(OSError, TypeError, ValueError):
        text = json.dumps({"version": __version__, "outcome": outcome})
        if json.loads(text)["outcome"] != outcome:
            return
        file = _place(archive, job_id)
        part = file.with_suffix(".part")
        part.write_text(text, "utf-8")
        part.replace(file)


def left(archive: Archive, job_id: str) -> Payload | None:
    """What an earlier start of the same program left to be kept."""
    try:
        told = json.loads(_place(archive, job_id).read_text("utf-8"))
        return dict(told["outcome"]) if told["version"] == __version__ else None
    except (OSError, ValueError, LookupError, TypeError):
        return None


def _place(archive: Archive, job_id: str) -> Path:
    return archive.incoming(job_id) / FILE
