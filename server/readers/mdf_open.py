"""A recording opened by asammdf: cut ones and old versions by way of a copy; its version, start and times."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from server.readers.clock import day_to_date
from server.readers.mdf_blocks import cut_block, shorten_block
from server.testday.units import UnknownUnitError, unit_of

_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()
_LOCAL_TIME = 1
_DAY_NS = 86_400 * 10**9


@contextmanager
def opened(path: Path) -> Iterator[tuple[Any, list[str]]]:
    """Open a recording, and say what was wrong with its end. One whose last block is cut is opened as a copy that
    says so itself; version 2 or 3 is brought to 4, attached files are left alone."""
    from asammdf import MDF

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        said = []
        if _first_bytes(path).startswith(b"UnFin"):
            said.append("the logger did not finish the file; what it had written was read.")
        cut = cut_block(path)
        if cut is not None:
            path = shutil.copyfile(path, Path(scratch) / "cut.mf4")
            shorten_block(path, *cut)
            said.append("the log stops in the middle of its samples; everything before it was read.")
        old = version_of(path) < "4"
        if old:
            with MDF(path) as of_old, of_old.convert("4.10") as of_new:
                path = Path(of_new.save(Path(scratch) / "as4.mf4"))
        mdf = MDF(path, process_bus_logging=False)
        try:
            if old:
                mdf.header.time_flags |= _LOCAL_TIME  # those versions know no zone
            yield mdf, said
        finally:
            mdf.close()


def _first_bytes(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(16)


def version_of(path: Path) -> str:
    """The version that a file says it is of: "4.10"."""
    return _first_bytes(path)[8:].decode("ascii", "replace").strip(" \0")


def time_scale(master: Any) -> float | None:
    """Seconds of one unit of a master channel's values; None where it is no time. Unknown units are seconds, as
    the standard asks of a time."""
    unit = (master.conversion and master.conversion.unit) or master.unit or ""
    try:
        known = unit_of(unit.strip() or "s")
    except UnknownUnitError:
        known = None
    if master.sync_type == 1:
        return known.scale if known is not None and known.dimension == "time" else 1.0
    of_time = master.sync_type == 0 and known is not None and known.dimension == "time" and bool(unit.strip())
    return known.scale if of_time and known is not None else None


def start_of(header: Any) -> tuple[float | None, dt.date | None, bool]:
    """Clock at time zero [s after midnight], date, and whether in UTC; nothing where the logger had no clock."""
    days, clock_ns = divmod(int(header.abs_time), _DAY_NS)
    date = day_to_date(days + _EPOCH_DAY)
    if not header.abs_time or date is None or date.year < 2000:
        return None, None, False
    return clock_ns / 1e9, date, not header.time_flags & _LOCAL_TIME
