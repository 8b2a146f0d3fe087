"""What figures of a correlation draw besides verdicts: predicted cases over a ride height, and how far off on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CasePoint:
    """A predicted case: ride height of the axle [m], its SCz there and u, and both heights in words."""

    height_m: float
    scz: float
    u: float
    words: str


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """E/D of a setup on a day [1], and what it was predicted by."""

    day: dt.date
    day_name: str
    setup: str
    recipe: str
    share: float
    u: float
