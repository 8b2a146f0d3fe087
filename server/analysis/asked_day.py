"""What is asked of a planned day, as plain values: nothing here takes long to import."""

from __future__ import annotations

from dataclasses import dataclass, field

MOST_PAIRS = 12


@dataclass(frozen=True, slots=True)
class Wanted:
    """A difference that the day is to tell: setup − baseline of SCx, with the wanted half width U95 [m²]."""

    setup: str
    u95_m2: float


@dataclass(frozen=True, slots=True)
class Pace:
    """What a day's work takes [s]: between outings, for a change of setup on top of it, turning at each end; on top of
    that, to fill the tank or change batteries."""

    between_s: float = 600.0
    change_s: float = 900.0
    turn_s: float = 40.0
    refill_s: float = 0.0


@dataclass(frozen=True, slots=True)
class DayRequest:
    """What is asked for. wanted: each change with its U95 of SCx [m²]; gust_sd_mps: None as on the day like it.

    along_mps, cross_mps: size of the mean wind along and across the straight; None as on the day like it.
    high_mps, low_mps: where the driver lifts and where braking starts; outing_pairs: most that battery or fuel allow
    from one filling to the next.
    """

    name: str
    baseline: str
    wanted: tuple[Wanted, ...]
    high_mps: float = 28.0
    low_mps: float = 8.0
    length_m: float = 1200.0
    gust_sd_mps: float | None = None
    start_clock_s: float = 9.0 * 3600.0
    outing_pairs: int = MOST_PAIRS
    pace: Pace = field(default_factory=Pace)
    along_mps: float | None = None
    cross_mps: float | None = None
