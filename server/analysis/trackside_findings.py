"""What a day's own words say that a person must hear now, without any log: wind, wet, tyre pressures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from server.analysis.day_findings import wind_findings
from server.testday.values import Day, Finding, Run, WeatherReading

CORNERS = ("front left", "front right", "rear left", "rear right")
SIDES = ((0, 1), (2, 3))
APART_PA = 10_000.0  # left against right of an axle, cold: common practice, no source
LOST_PA = 10_000.0  # hot below cold: air only warms in a run
FLAT_PA = 30_000.0  # common practice, no source


def trackside_findings(day: Day) -> list[Finding]:
    """Wind over the limits and a wet surface by the newest reading, and tyre pressures of each run."""
    newest = newest_reading(day)
    found = [*wind_findings(day, [newest]), *_surface(newest)] if newest else []
    return [*found, *(finding for run in day.runs for finding in _tyres(run))]


def newest_reading(day: Day) -> WeatherReading | None:
    """The reading that was taken last."""
    return max(day.weather, key=lambda reading: reading.clock_s or 0.0, default=None)


def _surface(reading: WeatherReading) -> Iterator[Finding]:
    if reading.surface in ("damp", "wet"):
        text = (
            f"The straight was read as {reading.surface}: braking distances grow, and rolling resistance is that of a "
            "wet road, which the other passes do not share. Wait until it is dry, or keep these passes apart."
        )
        yield Finding("surface-wet", "check", text)


def _tyres(run: Run) -> Iterator[Finding]:
    cold, hot = run.tyre_cold_pa, run.tyre_hot_pa
    said = [*_flat(cold, "cold"), *_flat(hot, "hot"), *_apart(cold), *_lost(cold, hot)]
    if said:
        text = f"Tyre pressures of run {run.number}: {'; '.join(said)}. Look at the tyre before it runs again."
        yield Finding("tyre-pressures", "check", text, run.number)


def _flat(pressures: Sequence[float | None], state: str) -> Iterator[str]:
    for corner, pressure in zip(CORNERS, pressures, strict=False):
        if pressure is not None and pressure < FLAT_PA:
            yield f"{corner} is nearly flat ({_bar(pressure)} {state})"


def _apart(cold: Sequence[float | None]) -> Iterator[str]:
    for left, right in SIDES if cold else ():
        a, b = cold[left], cold[right]
        if a is not None and b is not None and abs(a - b) > APART_PA:
            yield f"{CORNERS[left]} {_bar(a)} and {CORNERS[right]} {_bar(b)} differ by more than {_bar(APART_PA)} cold"


def _lost(cold: Sequence[float | None], hot: Sequence[float | None]) -> Iterator[str]:
    for corner, before, after in zip(CORNERS, cold, hot, strict=False):
        if before is not None and after is not None and after < before - LOST_PA:
            yield f"{corner} went from {_bar(before)} cold to {_bar(after)} hot: it loses air"


def _bar(pressure_pa: float) -> str:
    return f"{pressure_pa / 1e5:.2f} bar"
