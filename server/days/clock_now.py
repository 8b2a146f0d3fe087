"""The clock at the straight when something was entered."""

from __future__ import annotations

import datetime as dt
import zoneinfo

from server.archive.entries import made_at
from server.testday.values import Day


def local_now(day: Day) -> dt.datetime:
    """When this was entered, in the day's time zone; in that of this computer where the day has none."""
    zone = zoneinfo.ZoneInfo(day.timezone) if day.timezone else None
    return made_at().astimezone(zone)


def clock_now(day: Day) -> float:
    """The same in seconds after midnight, to the second."""
    moment = local_now(day)
    return float(3600 * moment.hour + 60 * moment.minute + moment.second)


def clock_if_today(day: Day) -> float | None:
    """The clock where the day is today; None on any other date, where it says nothing of the readings' age."""
    return clock_now(day) if day.date == local_now(day).date() else None
