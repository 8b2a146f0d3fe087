"""The CSV files of a day folder, written: weather, elevation and predictions."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

from server.testday import folder_keys as keys
from server.testday.defaults import MISSING
from server.testday.folder_keys import Key
from server.testday.folder_predictions import FILE as PREDICTIONS_FILE
from server.testday.quantities import clock_from_s, difference_from_si, from_si, number_text
from server.testday.values import Day, PredictionCase, Quantity, WeatherReading

ELEVATION_FILE = "elevation.csv"
WEATHER_FILE = "weather.csv"
READINGS_AS_TABLES = 48


def write_csv_files(day: Day, folder: Path) -> None:
    """Write the CSV files that the day needs; a predictions.csv of another day goes: it would be read."""
    _write_rows(folder / ELEVATION_FILE, _elevation_rows(day))
    _write_rows(folder / WEATHER_FILE, _weather_rows(day) if weather_as_csv(day) else [])
    (folder / PREDICTIONS_FILE).unlink(missing_ok=True)
    _write_rows(folder / PREDICTIONS_FILE, prediction_rows(day.predictions))


def humidity_default(day: Day) -> Quantity | None:
    """Return the default that stands for humidity where no reading has any."""
    default = MISSING["humidity"]
    return default if all(reading.humidity == default for reading in day.weather) else None


def weather_as_csv(day: Day) -> bool:
    """Say whether the weather is a file of its own: many readings, all of them plainly typed."""
    return len(day.weather) > READINGS_AS_TABLES and all(
        value is None or value.source == "typed" or value == humidity_default(day)
        for reading in day.weather
        for value in _weather_quantities(reading)
    )


def _weather_quantities(reading: WeatherReading) -> tuple[Quantity | None, ...]:
    return (
        reading.pressure_pa,
        reading.temperature_k,
        reading.humidity,
        reading.wind_speed_mps,
        reading.wind_from_rad,
    )


def _weather_rows(day: Day) -> list[list[str]]:
    columns = (keys.PRESSURE, keys.TEMPERATURE, keys.HUMIDITY, keys.WIND_SPEED, keys.WIND_FROM)
    default = humidity_default(day)
    rows = [["time", *_names(columns), keys.GUST.name, "surface"]]
    for reading in day.weather:
        row = ["" if reading.clock_s is None else clock_from_s(reading.clock_s)]
        for key, value in zip(columns, _weather_quantities(reading), strict=True):
            row += _quantity_cells(key, None if value == default else value)
        rows.append([*row, _cell(keys.GUST, reading.gust_mps), reading.surface or ""])
    return rows


def _elevation_rows(day: Day) -> list[list[str]]:
    points = [[_cell(keys.DISTANCE, x), _cell(keys.ELEVATION, z)] for x, z in day.venue.elevation]
    return [[keys.DISTANCE.name, keys.ELEVATION.name], *points] if points else []


def prediction_rows(cases: Sequence[PredictionCase]) -> list[list[str]]:
    """The rows of predictions.csv, its header first; none where there are no cases."""
    if not cases:
        return []
    plain = (*keys.RIDE_HEIGHTS, keys.YAW, keys.SPEED)
    totals = any(case.scz_m2 is not None for case in cases)
    areas = (keys.SCX, *keys.SCZ, *((keys.SCZ_TOTAL,) if totals else ()))
    header = ["setup", *(key.name for key in plain), *_names(areas), "part", "source"]
    return [header, *(_prediction_row(case, plain, areas) for case in cases)]


def _prediction_row(case: PredictionCase, plain: Sequence[Key], areas: Sequence[Key]) -> list[str]:
    numbers = (case.front_ride_height_m, case.rear_ride_height_m, case.yaw_rad, case.speed_mps)
    row = [case.setup, *(_cell(key, value) for key, value in zip(plain, numbers, strict=True))]
    values = (case.scx_m2, case.scz_front_m2, case.scz_rear_m2, case.scz_m2)
    for key, area in zip(areas, values, strict=False):
        row += _quantity_cells(key, area)
    return [*row, case.part, case.source]


def _names(columns: Sequence[Key]) -> list[str]:
    return [name for key in columns for name in (key.name, key.u_name)]


def _cell(key: Key, value: float | None) -> str:
    return "" if value is None else number_text(from_si(value, key.unit))


def _quantity_cells(key: Key, value: Quantity | None) -> list[str]:
    if value is None:
        return ["", ""]
    return [_cell(key, value.value), number_text(difference_from_si(value.u, key.unit))]


def _write_rows(path: Path, rows: list[list[str]]) -> None:
    """Write a CSV file, or none where there are no rows."""
    if not rows:
        return
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)
