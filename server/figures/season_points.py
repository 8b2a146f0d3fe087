"""What the timeline of a season draws: one setup on one day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from server.figures.theme import SetupMark


@dataclass(frozen=True, slots=True)
class OnScreen:
    """How a quantity over days is written: its words, its unit, the factor from its own unit."""

    words: str
    unit: str
    factor: float = 1.0


ON_SCREEN = {
    "SCx": OnScreen("SCx", "m²"),
    "SCz": OnScreen("SCz", "m²"),
    "balance_front": OnScreen("balance, front share", "%", 100.0),
}


@dataclass(frozen=True, slots=True)
class SeasonPoint:
    """A value of a setup on a day, in the quantity's own unit. label: the letter, numbered where one name had
    different parts on different days; recorded: what was recorded of the setup."""

    car: str
    day: dt.date
    day_name: str
    setup: str
    label: str
    mark: SetupMark
    recorded: str
    value: float
    u: float
    low95: float
    high95: float
