"""The weather of a day folder, from [[weather]] tables or weather.csv."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np

from server.errors import DayFolderError
from server.testday import folder_keys as keys
from server.testday.defaults import missing_quantity
from server.testday.folder_csv import read_lines
from server.testday.folder_keys import Key
from server.testday.folder_numbers import clock, exact_number, quantity, spoken, stated_u
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.values import Quantity, Surface, WeatherReading

QUANTITIES = (
    keys.PRESSURE,
    keys.TEMPERATURE,
    keys.HUMIDITY,
    keys.WIND_SPEED,
    keys.WIND_FROM,
    keys.WIND_FROM_MAGNETIC,
    keys.DECLINATION,
    keys.GUST,
)
CSV_COLUMNS = tuple(name for key in QUANTITIES for name in key.names)
CSV_TEXTS = ("time", "surface")
SURFACES: tuple[Surface, ...] = get_args(Surface)

NEEDED = "one reading with pressure_hpa and temperature_c"

Reading = tuple[Table, float | None]


def read_weather(root: Table, folder: Path) -> tuple[WeatherReading, ...]:
    """Read all readings in the order of their times.

    Pressure and temperature are needed once; a reading without them (a wind reading, say) takes them
    interpolated in time between those that have them.
    """
    tables = _tables(root, folder)
    times = [clock(table, "time") for table in tables]
    readings: list[Reading] = sorted(zip(tables, times, strict=True), key=lambda pair: pair[1] or 0.0)
    _check_times(readings)
    pressures = _over_time(readings, keys.PRESSURE, None)
    temperatures = _over_time(readings, keys.TEMPERATURE, None)
    humidities = _over_time(readings, keys.HUMIDITY, missing_quantity("humidity"))
    return tuple(
        WeatherReading(
            clock_s=time,
            pressure_pa=pressures[index],
            temperature_k=temperatures[index],
            humidity=humidities[index],
            wind_speed_mps=quantity(table, keys.WIND_SPEED),
            wind_from_rad=_wind_from(table),
            gust_mps=exact_number(table, keys.GUST),
            surface=_surface(table),
        )
        for index, (table, time) in enumerate(readings)
    )


def _surface(table: Table) -> Surface | None:
    """Return how the straight is."""
    word = table.word("surface", SURFACES, "the surface of the straight")
    return next((known for known in SURFACES if known == word), None)


def _tables(root: Table, folder: Path) -> list[Table]:
    value = root.get("weather")
    if value is None:
        root.missing("[[weather]]", f"; {NEEDED} is required")
    if isinstance(value, str):
        path = existing(folder, root, "weather", value.strip())
        tables = read_lines(path, value.strip(), CSV_COLUMNS, CSV_TEXTS, root.findings)
        if not tables:
            raise DayFolderError(f"{value.strip()}: holds no reading; {NEEDED} is required.")
        return tables
    if isinstance(value, dict):
        table = root.table("weather", "[weather]")
        return [] if table is None else [table]
    tables = root.tables("weather", "[[weather]]")
    if not tables:
        root.refuse("[[weather]]", f"is empty; {NEEDED} is required.")
    return tables


def _check_times(readings: list[Reading]) -> None:
    if len(readings) < 2:
        return
    seen: set[float] = set()
    for table, time in readings:
        if time is None:
            table.refuse("time", "is missing; where there are several readings each needs its time.")
        if time in seen:
            table.refuse("time", "is that of another reading.")
        seen.add(time)


def _over_time(readings: list[Reading], key: Key, default: Quantity | None) -> list[Quantity]:
    """Return the key's quantity at every reading: given, interpolated between those given, or default."""
    given = [quantity(table, key) for table, _ in readings]
    times = [time or 0.0 for _, time in readings]
    there = [(time, value) for time, value in zip(times, given, strict=True) if value]
    first = readings[0][0]
    if not there:
        if default is None:
            first.missing(key.name, f"; {NEEDED} is required")
        first.note("default-used", f"{first.place(key.name)} is not given; {spoken(default, key)} is used.")
        return [default] * len(readings)
    if len(there) < len(given):
        lacking = next(table for (table, _), value in zip(readings, given, strict=True) if value is None)
        others = len(given) - len(there) - 1
        text = f"is not given, nor in {others} more readings; it is interpolated in time."
        first.note("weather-interpolated", f"{lacking.place(key.name)} {text}")
    at = [time for time, _ in there]
    value_at = np.interp(times, at, [value.value for _, value in there])
    u_at = np.interp(times, at, [value.u for _, value in there])
    return [
        value or Quantity(float(value_at[index]), float(u_at[index])) for index, value in enumerate(given)
    ]


def _wind_from(table: Table) -> Quantity | None:
    """Return the true direction the wind comes from: as given, or magnetic + declination."""
    magnetic = quantity(table, keys.WIND_FROM_MAGNETIC)
    declination = exact_number(table, keys.DECLINATION)
    if magnetic is None:
        return quantity(table, keys.WIND_FROM)
    if table.get(keys.WIND_FROM.name) is not None:
        table.refuse(keys.WIND_FROM_MAGNETIC.name, f"is given beside {keys.WIND_FROM.name}; give one.")
    if declination is None:
        table.missing(keys.DECLINATION.name, "; a magnetic direction needs it (east positive)")
    u = stated_u(table, keys.WIND_FROM, magnetic.value)
    return replace(
        magnetic, value=(magnetic.value + declination) % math.tau, u=magnetic.u if u is None else u
    )
