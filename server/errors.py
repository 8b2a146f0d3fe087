"""The errors that a person can act on.

    StillairError            one clear sentence, shown as it is
    ├── DayFolderError       who wrote the day folder must mend a file, a table or a key
    ├── LogError             who brought the log must bring another or say how to read it
    ├── UploadError          who sent the file must send another
    ├── DiskFullError        who keeps the server must make room
    ├── ArchiveBusyError     whoever holds the archive's database must let go of it
    └── NotFoundError        the address names nothing that exists

Anything else that is raised is a mistake in the program.
"""


class StillairError(Exception):
    """Base of the errors that carry one clear sentence for a person."""


class DayFolderError(StillairError):
    """A test-day folder cannot be used; the sentence names file, table and key."""


class LogError(StillairError):
    """A logger file cannot be used; the sentence names the file and the place in it."""


class UploadError(StillairError):
    """A file that was sent cannot be taken."""


class DiskFullError(StillairError):
    """The disk of the archive has no room for what came."""


class ArchiveBusyError(StillairError):
    """The archive's database was held by something else for too long."""


class NotFoundError(StillairError):
    """An address names nothing that exists."""
