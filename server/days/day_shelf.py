"""The days of the last few revisions, read from their files and kept in memory by the files' own hash."""

from __future__ import annotations

import tempfile
from collections import OrderedDict
from collections.abc import Mapping
from pathlib import Path
from threading import Lock

from server.archive.archive import Archive
from server.days.service import hash_of_files, link_files
from server.testday.folder import read_folder
from server.testday.values import Day

DAYS_IN_MEMORY = 16

_shelf: OrderedDict[str, Day] = OrderedDict()
_shelf_lock = Lock()


def stored_day(archive: Archive, files: Mapping[str, str]) -> Day:
    """The day of a revision's files, without recordings."""
    content = hash_of_files(files.items())
    with _shelf_lock:
        if content in _shelf:
            _shelf.move_to_end(content)
            return _shelf[content]
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        day = read_folder(link_files(archive, files, Path(scratch)))
    shelve(content, day)
    return day


def shelve(content: str, day: Day) -> None:
    """Keep a day that was just read from files of this hash; the one that nobody asked for longest goes."""
    with _shelf_lock:
        _shelf[content] = day
        while len(_shelf) > DAYS_IN_MEMORY:
            _shelf.popitem(last=False)
