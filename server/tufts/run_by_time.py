"""Which run a photo was taken in, as far as the camera's clock can tell."""

from __future__ import annotations

import datetime as dt

from server.testday.values import Day

LONGEST_RUN_S = 2400.0  # nobody drives longer from one start without a stop; common practice, no source
EARLY_S = 60.0  # the start of a run is typed to the minute


def clock_of(taken: str, ahead_s: float = 0.0) -> float | None:
    """Seconds since midnight on the day's clock of a moment "2026-05-09 09:31:12" on the camera's; None for none."""
    try:
        moment = dt.datetime.fromisoformat(taken) - dt.timedelta(seconds=ahead_s)
    except ValueError:
        return None
    return moment.hour * 3600.0 + moment.minute * 60.0 + moment.second


def run_by_time(day: Day, taken: str, ahead_s: float = 0.0) -> int | None:
    """The run that had started last when the photo was taken; None where that says nothing.

    Another date than the day's, a photo before the first start or long after the last says nothing.
    """
    clock = clock_of(taken, ahead_s)
    if clock is None or not _of_that_day(day, taken, ahead_s):
        return None
    starts = [(run.start_clock_s, run.number) for run in day.runs if run.start_clock_s is not None]
    begun = [(start, number) for start, number in starts if start - EARLY_S <= clock]
    if not begun or clock - max(begun)[0] > LONGEST_RUN_S:
        return None
    return max(begun)[1]


def _of_that_day(day: Day, taken: str, ahead_s: float) -> bool:
    moment = dt.datetime.fromisoformat(taken) - dt.timedelta(seconds=ahead_s)
    return day.date is None or day.date == moment.date()
