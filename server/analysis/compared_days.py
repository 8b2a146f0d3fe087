"""What a comparison of setups over several days says, and what it is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from server.analysis.result import DayResult

# Stated or assumed, yet drawn anew on every day: the pass's own wind, its own tyres, the sensors' zeros.
# All else that is stated (masses, inertias, scales, rolling and driveline resistance, slope, instruments of the
# air) is the same statement on the next day, and wrong by the same amount.
OF_THE_DAY = frozenset(
    {"mean wind of each pass", "scatter of rolling resistance", "zeros of the load sensors and their drift"}
)


@dataclass(frozen=True, slots=True, eq=False)
class ResultOfDay:
    """A day with its result. setups: what a setup is called over the days → what it is called in the result."""

    key: int
    words: str
    result: DayResult
    setups: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class OneDay:
    """What one day tells of a difference. value None: it ran but one of the two, `ran`.

    apart_p: how often a day would lie so far from the others, for all days that were looked at together; None where
    no other day tells.
    """

    key: int
    words: str
    ran: str
    value: float | None = None
    u: float = 0.0
    apart_p: float | None = None


@dataclass(frozen=True, slots=True)
class OverDaysDifference:
    """A difference setup − baseline over days, in the quantity's own unit; half widths of 95 % about `value`.

    u95, u95_all: alone, and so that all differences hold together; p, p_all: of no difference, alone and among so
    many; smallest_seen: what these days would have seen four times of five; shared_u: what no further day shrinks.
    days_wanted: days that run both, in all, for the wanted U95; days_told: for a difference as large as it looks to be
    seen four times of five. None where no number does.
    """

    setup: str
    value: float
    u: float
    u95: float
    u95_all: float
    p: float
    p_all: float
    smallest_seen: float
    shared_u: float
    days: tuple[OneDay, ...]
    days_wanted: int | None
    days_told: int | None

    @property
    def both(self) -> tuple[OneDay, ...]:
        """Days that ran both."""
        return tuple(one for one in self.days if one.value is not None)

    @property
    def verdict(self) -> str:
        """'higher', 'lower', or 'not told' apart from zero among all that were compared."""
        if abs(self.value) <= self.u95_all:
            return "not told"
        return "higher" if self.value > 0.0 else "lower"


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation that was estimated: its median and 95 % bounds."""

    value: float
    low95: float
    high95: float


@dataclass(frozen=True, slots=True)
class ComparedDays:
    """Setups against a baseline over days. factor: of the joint intervals over those alone.

    between: how days differ, all setups alike; own: how one setup differs from day to day; spread_p: how often
    differences would lie so far apart were each the same on every day, None where no two can be set against each other.
    left_out: days that tell nothing of it, with the reason.
    """

    quantity: str
    unit: str
    baseline: str
    factor: float
    differences: tuple[OverDaysDifference, ...]
    days: int
    between: Spread
    own: Spread
    spread_p: float | None
    left_out: tuple[tuple[str, str], ...]
