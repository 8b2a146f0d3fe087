"""Coast-downs timed by hand, typed on the day's page: a log of a few lines, a run like the others."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from itertools import zip_longest
from pathlib import Path

from server.archive.archive import Archive
from server.days import run_forms
from server.days.adding_runs import free_paths, newest_with_files
from server.days.change import Change
from server.days.form_fields import FieldError, Typed
from server.days.revisions import Revised, revise_day
from server.days.run_changes import add_runs
from server.errors import LogError
from server.readers.typed_times import read_typed_times
from server.readers.typed_times_write import typed_times_csv
from server.testday.values import Day, LogFile, Run

CELLS = ("from", "to", "out", "back")
SETTINGS = {"seconds_u": "seconds_u", "gain": "speedometer_gain"}
ROWS = 8
MOST_ROWS = 200
CALLED = "The table"
FILE = "typed_times.csv"
EMPTY = "Nothing was typed: a row takes two speeds and the seconds between them, out, back or both."


def add_typed(archive: Archive, day_id: int, typed: Typed, who: str) -> Revised:
    """Add a run of typed times to a day. Raises FieldError beside a fact or the rows, StillairError."""
    content = typed_log(typed)
    with archive.database.reading() as session:
        _, _, files = newest_with_files(archive, session, day_id)
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        file = Path(scratch) / FILE
        file.write_bytes(content)
        return revise_day(archive, day_id, lambda day: _change(day, files, typed, file), who=who)


def typed_log(typed: Typed) -> bytes:
    """The rows as a file, read back so that what is wrong with one is said of that row. Raises FieldError."""
    columns = [typed.get(name, ())[:MOST_ROWS] for name in CELLS]
    rows = [cells for cells in zip_longest(*columns, fillvalue="") if any(cell.strip() for cell in cells)]
    if not rows:
        raise FieldError("rows", EMPTY)
    given = {key: typed.get(name, ("",))[0] for name, key in SETTINGS.items()}
    content = typed_times_csv([(a, b, c, d) for a, b, c, d in rows], settings=given)
    try:
        read_typed_times(content, name=CALLED)
    except LogError as refusal:
        raise FieldError("rows", _by_row(str(refusal), sum(bool(value.strip()) for value in given.values()))) from None
    return content


def _by_row(sentence: str, settings: int) -> str:
    """Lines of the file as rows of the table: the header and the settings before it are no rows."""

    def row(match: re.Match[str]) -> str:
        number = int(match[1]) - 1 - settings
        return f"row {number}" if number > 0 else "the settings"

    return re.sub(r"line (\d+)", row, sentence).replace(f"{CALLED}: ", "", 1).capitalize()


def _change(day: Day, files: Mapping[str, str], typed: Typed, file: Path) -> Change:
    facts = run_forms.typed_facts(day, typed)
    number = max((run.number for run in day.runs), default=0) + 1
    [path] = free_paths(list(files), [FILE])
    run = Run(number=number, logs=(LogFile(path),), **{**facts, "direction": None})
    return add_runs(day, (run,), {path: file})
