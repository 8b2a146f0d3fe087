"""What costs accuracy on a day before any fit: weather limits, balance of directions, number of passes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from server.analysis.result import Pass
from server.testday.values import Day, Finding, WeatherReading

# UN GTR 15 (WLTP), stationary anemometer; from memory
MEAN_WIND_LIMIT_MPS, GUST_LIMIT_MPS, CROSS_LIMIT_MPS = 5.0, 8.0, 2.0
TEMPERATURE_DRIFT_K = 5.0
FEWEST_EACH_WAY = 4
SLOW_START_MPS = 15.0
SHORT_SPAN = 1.7


def data_findings(day: Day, passes: Sequence[Pass]) -> list[Finding]:
    """Findings on the weather and on the passes of each setup."""
    found = [*wind_findings(day, day.weather), *_temperature(day)]
    used = [p for p in passes if p.used and p.kind == "coast-down"]
    for setup in day.setups:
        mine = [p for p in used if p.setup == setup.name]
        if mine:
            found += [*_directions(setup.name, mine), *_speeds(setup.name, mine)]
        elif used and any(run.setup == setup.name for run in day.runs):
            found.append(Finding("no-area", "stop", _nothing_used(setup.name, passes)))
    return found


def _nothing_used(setup: str, passes: Sequence[Pass]) -> str:
    """Why a setup that was run has no area while others have one."""
    refused = [p.reason for p in passes if p.setup == setup and p.kind == "coast-down" and p.reason]
    most = max(refused, key=refused.count, default="no stretch of its runs looks like a coast-down")
    return f"Setup {setup}: none of its coast-downs can be used ({most}), so it has no area and no difference."


def wind_findings(day: Day, readings: Sequence[WeatherReading]) -> Iterator[Finding]:
    """Wind over the published limits in any of the readings."""
    winds = [r.wind_speed_mps.value for r in readings if r.wind_speed_mps]
    gusts = [r.gust_mps for r in readings if r.gust_mps]
    cross = [
        abs(r.wind_speed_mps.value * np.sin(r.wind_from_rad.value - day.venue.heading_rad))
        for r in readings
        if r.wind_speed_mps and r.wind_from_rad and day.venue.heading_rad is not None
    ]
    if winds and max(winds) > MEAN_WIND_LIMIT_MPS:
        text = (
            f"Wind of {max(winds):.1f} m/s was read; the published road-load procedures stop at a mean of "
            f"{MEAN_WIND_LIMIT_MPS:.0f} m/s, and a light car sooner."
        )
        yield Finding("wind-limit", "check", text)
    if gusts and max(gusts) > GUST_LIMIT_MPS:
        text = f"Gusts of {max(gusts):.1f} m/s were read; the published limit is {GUST_LIMIT_MPS:.0f} m/s."
        yield Finding("gust-limit", "check", text)
    if cross and max(cross) > CROSS_LIMIT_MPS:
        text = (
            f"A cross wind of {max(cross):.1f} m/s was read; above {CROSS_LIMIT_MPS:.0f} m/s the drag found is "
            "that of a yawed car."
        )
        yield Finding("cross-wind", "check", text)


def _temperature(day: Day) -> Iterator[Finding]:
    temperatures = [r.temperature_k.value for r in day.weather]
    change = max(temperatures) - min(temperatures)
    if change > TEMPERATURE_DRIFT_K:
        text = f"The air changed by {change:.0f} K over the day; tyres and density moved with it."
        yield Finding("temperature-drift", "note", text)


def _directions(setup: str, passes: Sequence[Pass]) -> Iterator[Finding]:
    out, back = sum(p.direction > 0 for p in passes), sum(p.direction < 0 for p in passes)
    if min(out, back) == 0:
        text = (
            f"Setup {setup}: all {len(passes)} coast-downs go one way or their direction is unknown, so wind and "
            "grade can't be told from drag; coast the other way as often."
        )
        yield Finding("one-way", "check", text)
    elif abs(out - back) > max(1, 0.34 * len(passes)):
        text = (
            f"Setup {setup}: {out} coast-downs out and {back} back; what wind and grade do cancels best in equal "
            "numbers."
        )
        yield Finding("unbalanced", "check", text)
    elif min(out, back) < FEWEST_EACH_WAY:
        text = (
            f"Setup {setup}: {out} coast-downs out and {back} back; fewer than {FEWEST_EACH_WAY} each way leave "
            "the wind's scatter poorly known."
        )
        yield Finding("few-passes", "note", text)


def _speeds(setup: str, passes: Sequence[Pass]) -> Iterator[Finding]:
    highest, lowest = max(p.high_mps for p in passes), min(p.low_mps for p in passes)
    if highest < SLOW_START_MPS:
        text = (
            f"Setup {setup}: the fastest coast-down starts at {highest * 3.6:.0f} km/h; below "
            f"{SLOW_START_MPS * 3.6:.0f} km/h drag is too small a part of the whole."
        )
        yield Finding("low-speed", "check", text)
    if highest < SHORT_SPAN * lowest:
        text = (
            f"Setup {setup}: the coast-downs span only {lowest * 3.6:.0f} to {highest * 3.6:.0f} km/h; rolling "
            "resistance and drag part over a wider range of speed."
        )
        yield Finding("short-coast", "check", text)
