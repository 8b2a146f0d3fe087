"""The errors that a person can act on.

    StillairError            one clear sentence, shown as it is
    ├── DayFolderError       who wrote the day folder must mend a file, a table or a key
    ├── LogError             who brought the log must bring another or say how to read it
    ├── UploadError          who sent the file must send another
    ├── DiskFullError        who keeps the server must make room
    ├── StoreError           who keeps the store of raw files must make it answer
    ├── ForbiddenError       who has the role must do it, or give it
    ├── ArchiveBusyError     whoever holds the archive's database must let go of it
    ├── ArchiveDamagedError  who keeps the server must put a good copy of the archive in its place
    └── NotFoundError        the address names nothing that exists

Anything else that is raised is a mistake in the program.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

BODY_NO_JSON = "The body is not JSON as RFC 8259 has it."


class StillairError(Exception):
    """Base of the errors that carry one clear sentence for a person."""


class DayFolderError(StillairError):
    """A test-day folder cannot be used; the sentence names file, table and key."""


class LogError(StillairError):
    """A logger file cannot be used; the sentence names the file and the place in it."""


class UploadError(StillairError):
    """A file that was sent cannot be taken."""


class ForbiddenError(StillairError):
    """The role of whoever asks does not allow it."""


class DiskFullError(StillairError):
    """The disk of the archive has no room for what came."""


class StoreError(StillairError):
    """The store of raw files does not answer, refuses, or is another one."""


ASK_LATER = {"Retry-After": "5"}  # RFC 9110, section 10.2.3 [s]: of every answer 503


class ArchiveBusyError(StillairError):
    """The archive's database was held by something else for too long."""


class ArchiveDamagedError(StillairError):
    """The archive's database cannot be read as one."""


class NotFoundError(StillairError):
    """An address names nothing that exists."""


def place_sentence(faults: Sequence[Mapping[str, Any]]) -> str:
    """What is wrong with a request, in one sentence that names the place: from the first fault that pydantic found.

    What was sent is not repeated: it may be anything.
    """
    fault = faults[0]
    kind, message, where = str(fault["type"]), str(fault["msg"]), [str(part) for part in fault["loc"]]
    if kind == "json_invalid":
        return BODY_NO_JSON
    place = f"“{'.'.join(where[1:])}”" if where[1:] else "The body" if where[:1] == ["body"] else "The address"
    place = place.encode("utf-8", "replace").decode()
    if kind == "missing":
        return f"{place} is missing."
    if kind == "extra_forbidden":
        return f"{place} is not known here."
    if message.startswith("Input should "):
        return f"{place} must {message.removeprefix('Input should ')}."
    return f"{place} cannot be used: {message[:1].lower()}{message[1:]}."
