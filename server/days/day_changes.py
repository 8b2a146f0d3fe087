"""Changes of the day itself, its weather and the roles of its columns: the day before in, the day after out.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from server.days.change import Change, plain
from server.days.run_changes import change_run
from server.errors import StillairError
from server.testday.values import Day, WeatherReading


def change_weather(day: Day, weather: tuple[WeatherReading, ...]) -> Change:
    """Other readings of air and wind."""
    if not weather:
        raise StillairError("A day needs at least one reading of pressure and temperature.")
    weather = tuple(sorted(weather, key=lambda one: one.clock_s or 0.0))
    times = [one.clock_s for one in weather]
    if len(times) > 1 and None in times:
        raise StillairError("Where there are several readings each needs its time.")
    if len(set(times)) < len(times):
        raise StillairError("Two readings can't have the same time; change the one that is there.")
    before, after = [plain(one) for one in day.weather], [plain(one) for one in weather]
    what = f"weather: {len(weather)} reading{'s' if len(weather) > 1 else ''}"
    return Change(replace(day, weather=weather), "weather-changed", "weather", before, after, what)


def change_channels(day: Day, channels: Mapping[str, str], run: int | None = None) -> Change:
    """Which column plays which role, for all logs of the day or for one run."""
    if run is not None:
        return change_run(day, run, channels=dict(channels))
    before = dict(day.channels)
    changed = replace(day, channels=dict(channels))
    return Change(changed, "roles-changed", "columns", before, dict(channels), "roles of columns changed")


def change_day(day: Day, **facts: Any) -> Change:
    """Name, date, notes, reference speed, time zone or the venue."""
    allowed = {"name", "date", "notes", "reference_speed_mps", "timezone", "venue"}
    if unknown := set(facts) - allowed:
        raise StillairError(f"A day's {sorted(unknown)[0]} can't be changed here.")
    before = {name: plain(getattr(day, name)) for name in facts}
    after = {name: plain(value) for name, value in facts.items()}
    changed = replace(day, **facts)
    return Change(changed, "day-changed", "day", before, after, f"day: {', '.join(facts)} changed".replace("_", " "))
