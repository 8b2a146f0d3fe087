"""The clock of a raw bus log: seconds since 1970 in its frames, or a start in its header."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np

from server.errors import LogError
from server.readers.clock import SECONDS_PER_DAY, day_to_date
from server.testday.values import Finding, FloatArray

EPOCH_S = (9.4e8, 4.2e9)  # 1999 to 2103, seconds since 1970
_EPOCH_DAY = dt.date(1970, 1, 1).toordinal()
_ASC_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ASC_DATE = re.compile(
    r"(?P<month>\w{3,4})\.?\s+(?P<day>\d{1,2})\s+(?P<hour>\d{1,2}):(?P<minute>\d\d):(?P<second>\d\d(?:\.\d+)?)"
    r"(?:\s+(?P<half>[ap])m)?\s+(?P<year>\d{4})",
    re.IGNORECASE,
)


def asc_date(text: str | None) -> dt.datetime | None:
    """Read "May 9 09:00:00.250 am 2026" of a header's date line; None where it is otherwise."""
    match = _ASC_DATE.fullmatch((text or "").strip())
    month = (match["month"] if match else "").casefold().replace("mär", "mar").replace("mai", "may")
    month = month.replace("okt", "oct").replace("dez", "dec")[:3]
    if match is None or month not in _ASC_MONTHS:
        return None
    hour, half = int(match["hour"]), (match["half"] or "").casefold()
    hour = hour % 12 + 12 * (half == "p") if half else hour
    second, fraction = divmod(float(match["second"]), 1.0)
    try:
        return dt.datetime(
            int(match["year"]),
            _ASC_MONTHS.index(month) + 1,
            int(match["day"]),
            hour,
            int(match["minute"]),
            int(second),
            int(fraction * 1e6),
            tzinfo=dt.UTC,
        )
    except ValueError:
        return None


def set_to_zero(name: str, times: FloatArray, start: dt.datetime | None) -> tuple[float | None, dt.date | None]:
    """Count frames' times from the first (in place) where they are seconds since 1970; return clock and date of zero.

    start: of the header, for times that count from there.
    Raises LogError where no frame has a time.
    """
    finite = times[np.isfinite(times)]
    if not len(finite):
        raise LogError(f"{name}: none of its frames has a time.")
    first = float(finite[0])
    if EPOCH_S[0] < first < EPOCH_S[1]:
        np.subtract(times, first, out=times)
        moment = first
    elif start is not None and EPOCH_S[0] < start.timestamp() < EPOCH_S[1]:
        moment = start.timestamp()
    else:
        return None, None
    days, clock = divmod(moment, SECONDS_PER_DAY)
    return clock, day_to_date(days + _EPOCH_DAY)


def zone_assumed(name: str) -> Finding:
    """Say that a start without a time zone is taken as the venue's clock."""
    text = f"{name}: its start names no time zone and is taken as the venue's clock; give the run's start if not."
    return Finding("clock-zone-assumed", "note", text)
