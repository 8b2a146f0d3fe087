"""Write a `Day` as a folder that reads back as the same day, and to the same bytes every time."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

from server.errors import DayFolderError
from server.testday import folder_keys as keys
from server.testday import folder_predictions
from server.testday.defaults import MISSING
from server.testday.folder_keys import Key
from server.testday.folder_paths import existing, inside
from server.testday.folder_table import Table
from server.testday.folder_write_tables import (
    axle_pairs,
    calibration_pairs,
    car_pairs,
    number,
    pass_pairs,
    run_pairs,
    setup_pairs,
    venue_pairs,
    weather_pairs,
)
from server.testday.folder_write_toml import Pairs, section
from server.testday.quantities import clock_from_s, difference_from_si, from_si, number_text
from server.testday.values import Day, PredictionCase, Quantity, Run, WeatherReading

FILE = "testday.toml"
ELEVATION_FILE = "elevation.csv"
WEATHER_FILE = "weather.csv"
READINGS_AS_TABLES = 48
_TUFTS = ("tufts.csv", "tufts")


def write_folder(day: Day, path: Path | str, source: Path | str | None = None) -> Path:
    """Write a day as a folder and return its path; recordings are not written, their logs are.

    path: made where it is absent; the day's own files in it are replaced, others stay.
    source: folder that the runs' logs (and tufts) are copied from, each under the name that its run gives it.
    Raises DayFolderError for a log that the source lacks or whose name leaves the folder.
    """
    folder = Path(path)
    folder.mkdir(parents=True, exist_ok=True)
    _check_names(day, folder)
    (folder / FILE).write_bytes(("\n".join(_toml_lines(day)) + "\n").encode("utf-8"))
    _write_rows(folder / ELEVATION_FILE, _elevation_rows(day))
    _write_rows(folder / WEATHER_FILE, _weather_rows(day) if _weather_as_csv(day) else [])
    (folder / folder_predictions.FILE).unlink(missing_ok=True)  # it would be read, whoever's it is
    _write_rows(folder / folder_predictions.FILE, _prediction_rows(day))
    if source is not None:
        _copy_files(day, Path(source), folder)
    return folder


def _toml_lines(day: Day) -> list[str]:
    weather: list[str] = []
    if not _weather_as_csv(day):
        humidity = _humidity_default(day)
        for reading in day.weather:
            weather += section("[[weather]]", weather_pairs(reading, humidity))
    lines = section("", _root_pairs(day))
    lines += section("[venue]", venue_pairs(day.venue, ELEVATION_FILE))
    lines += section("[car]", car_pairs(day.car, _driven_given(day)))
    lines += section("[car.front]", axle_pairs(day.car.front))
    lines += section("[car.rear]", axle_pairs(day.car.rear))
    for role, calibration in sorted(day.car.calibration.items()):
        lines += section(f"[calibration.{role}]", calibration_pairs(calibration))
    lines += weather
    for setup in day.setups:
        lines += section("[[setups]]", setup_pairs(setup))
    for run in day.runs:
        lines += _run_lines(run)
    return lines + _channel_lines("[channels]", day.channels.items())


def _root_pairs(day: Day) -> Pairs:
    return {
        "format": 1,
        "name": day.name,
        "date": day.date,
        "timezone": day.timezone,
        **number(keys.REFERENCE_SPEED, day.reference_speed_mps),
        "notes": day.notes or None,
        "weather": WEATHER_FILE if _weather_as_csv(day) else None,
    }


def _run_lines(run: Run) -> list[str]:
    lines = section("[[runs]]", run_pairs(run))
    lines += _channel_lines("[runs.channels]", run.channels.items())
    for edit in run.passes:
        lines += section("[[runs.passes]]", pass_pairs(edit))
    return lines


def _channel_lines(header: str, channels: Iterable[tuple[str, str]]) -> list[str]:
    pairs: Pairs = dict(sorted(channels))
    return section(header, pairs) if pairs else []


def _driven_given(day: Day) -> bool:
    """Say whether the driven axle was stated: a day that took rear for granted goes on saying so."""
    place = f"{FILE}: [car] driven "
    return not any(
        finding.code == "default-used" and finding.text.startswith(place) for finding in day.findings
    )


def _humidity_default(day: Day) -> Quantity | None:
    """Return the default that stands for humidity where no reading has any."""
    default = MISSING["humidity"]
    return default if all(reading.humidity == default for reading in day.weather) else None


def _weather_as_csv(day: Day) -> bool:
    """Say whether the weather is a file of its own: many readings, all of them plainly typed."""
    return len(day.weather) > READINGS_AS_TABLES and all(
        value is None or value.source == "typed" or value == _humidity_default(day)
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
    default = _humidity_default(day)
    rows = [["time", *_names(columns), keys.GUST.name]]
    for reading in day.weather:
        row = ["" if reading.clock_s is None else clock_from_s(reading.clock_s)]
        for key, value in zip(columns, _weather_quantities(reading), strict=True):
            row += _quantity_cells(key, None if value == default else value)
        rows.append([*row, _cell(keys.GUST, reading.gust_mps)])
    return rows


def _elevation_rows(day: Day) -> list[list[str]]:
    points = [[_cell(keys.DISTANCE, x), _cell(keys.ELEVATION, z)] for x, z in day.venue.elevation]
    return [[keys.DISTANCE.name, keys.ELEVATION.name], *points] if points else []


def _prediction_rows(day: Day) -> list[list[str]]:
    if not day.predictions:
        return []
    plain = (*keys.RIDE_HEIGHTS, keys.YAW, keys.SPEED)
    areas = (keys.SCX, *keys.SCZ)
    header = ["setup", *(key.name for key in plain), *_names(areas), "part", "source"]
    return [header, *(_prediction_row(case, plain, areas) for case in day.predictions)]


def _prediction_row(case: PredictionCase, plain: Sequence[Key], areas: Sequence[Key]) -> list[str]:
    numbers = (case.front_ride_height_m, case.rear_ride_height_m, case.yaw_rad, case.speed_mps)
    row = [case.setup, *(_cell(key, value) for key, value in zip(plain, numbers, strict=True))]
    for key, area in zip(areas, (case.scx_m2, case.scz_front_m2, case.scz_rear_m2), strict=True):
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


def _check_names(day: Day, folder: Path) -> None:
    for run in day.runs:
        for log in run.logs:
            inside(folder, _place(run), "log", log.file)


def _copy_files(day: Day, source: Path, folder: Path) -> None:
    if source.resolve() == folder.resolve():
        return
    for run in day.runs:
        for log in run.logs:
            origin = existing(source, _place(run), "log", log.file)
            _copy(origin, folder / log.file)
    for name in _TUFTS:
        if (source / name).is_dir():
            shutil.copytree(source / name, folder / name, dirs_exist_ok=True)
        elif (source / name).is_file():
            _copy(source / name, folder / name)


def _copy(origin: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(origin, target)
    except OSError as error:
        reason = f"cannot be copied to {target.parent} ({error.strerror})"
        raise DayFolderError(f"{origin.name}: {reason}.") from error


def _place(run: Run) -> Table:
    return Table({}, FILE, f"[[runs]] {run.number}", [])
