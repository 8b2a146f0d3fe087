"""Write a `Day` as a folder that reads back as the same day, and to the same bytes every time."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

from server.errors import DayFolderError
from server.testday import folder_keys as keys
from server.testday.folder_paths import existing, inside
from server.testday.folder_table import Table
from server.testday.folder_trackside import acknowledged_pairs, wanted_pairs
from server.testday.folder_write_csv import (
    ELEVATION_FILE,
    WEATHER_FILE,
    humidity_default,
    weather_as_csv,
    write_csv_files,
)
from server.testday.folder_write_stands import axle_loading_pairs, spin_down_pairs
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
from server.testday.values import Day, LogFile, Run

FILE = "testday.toml"
_TUFTS = ("tufts.csv", "tufts")


def write_folder(day: Day, path: Path | str, source: Path | str | None = None) -> Path:
    """Write a day as a folder and return its path; recordings are not written, their logs are.

    path: made where it is absent; the day's own files in it are replaced, others stay.
    source: folder that the logs (and tufts) are copied from, each under the name that the day gives it.
    Raises DayFolderError for a log that the source lacks or whose name leaves the folder.
    """
    folder = Path(path)
    folder.mkdir(parents=True, exist_ok=True)
    _check_names(day, folder)
    part = folder / f"{FILE}.part"
    part.write_bytes(("\n".join(_toml_lines(day)) + "\n").encode("utf-8"))
    part.replace(folder / FILE)
    write_csv_files(day, folder)
    if source is not None:
        _copy_files(day, Path(source), folder)
    return folder


def _toml_lines(day: Day) -> list[str]:
    weather: list[str] = []
    if not weather_as_csv(day):
        humidity = humidity_default(day)
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
    for one in day.acknowledged:
        lines += section("[[acknowledged]]", acknowledged_pairs(one))
    for width in day.wanted:
        lines += section("[[wanted]]", wanted_pairs(width))
    for spin_down in day.spin_downs:
        lines += section("[[spin_downs]]", spin_down_pairs(spin_down))
        lines += _channel_lines("[spin_downs.channels]", spin_down.channels.items())
    for loading in day.axle_loadings:
        lines += section("[[axle_loadings]]", axle_loading_pairs(loading))
        lines += _channel_lines("[axle_loadings.channels]", loading.channels.items())
    return lines + _channel_lines("[channels]", day.channels.items())


def _root_pairs(day: Day) -> Pairs:
    return {
        "format": 1,
        "name": day.name,
        "date": day.date,
        "timezone": day.timezone,
        **number(keys.REFERENCE_SPEED, day.reference_speed_mps),
        "notes": day.notes or None,
        "weather": WEATHER_FILE if weather_as_csv(day) else None,
        "signals": day.signals,
        "checklist": list(day.checklist) or None,
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


def _check_names(day: Day, folder: Path) -> None:
    for run in day.runs:
        for log in run.logs:
            inside(folder, _place(run), "log", log.file)
    for label, log in _stand_logs(day):
        inside(folder, Table({}, FILE, label, []), "log", log.file)
    for label, named in _databases(day):
        inside(folder, Table({}, FILE, label, []), "signals", named)


def _copy_files(day: Day, source: Path, folder: Path) -> None:
    if source.resolve() == folder.resolve():
        return
    for run in day.runs:
        for log in run.logs:
            origin = existing(source, _place(run), "log", log.file)
            _copy(origin, folder / log.file)
    for label, log in _stand_logs(day):
        inside(source, Table({}, FILE, label, []), "log", log.file)
        if (source / log.file).is_file():  # a stand test whose log is gone stops no day
            _copy(source / log.file, folder / log.file)
    for label, named in _databases(day):
        _copy(existing(source, Table({}, FILE, label, []), "signals", named), folder / named)
    for origin in (source / name for name in _TUFTS):
        if origin.is_dir() and not origin.is_symlink():
            shutil.copytree(origin, folder / origin.name, dirs_exist_ok=True, ignore=_links)
        elif origin.is_file() and not origin.is_symlink():
            _copy(origin, folder / origin.name)


def _links(folder: str, names: list[str]) -> list[str]:
    return [name for name in names if (Path(folder) / name).is_symlink()]


def _copy(origin: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(origin, target)
    except OSError as error:
        reason = f"cannot be copied to {target.parent} ({error.strerror})"
        raise DayFolderError(f"{origin.name}: {reason}.") from error


def _stand_logs(day: Day) -> list[tuple[str, LogFile]]:
    """The logs of the tests of the standing car, each with what a sentence calls its table."""
    named = [(f"[[spin_downs]] {n}", test.log) for n, test in enumerate(day.spin_downs, start=1)]
    return named + [(f"[[axle_loadings]] {n}", test.log) for n, test in enumerate(day.axle_loadings, start=1)]


def _databases(day: Day) -> list[tuple[str, str]]:
    """The signal databases of the day, each with what a sentence calls the first table that names it."""
    named = [("", day.signals), *((f"[[runs]] {run.number}", log.signals) for run in day.runs for log in run.logs)]
    named += [(label, log.signals) for label, log in _stand_logs(day)]
    return list({file: (label, file) for label, file in reversed(named) if file is not None}.values())


def _place(run: Run) -> Table:
    return Table({}, FILE, f"[[runs]] {run.number}", [])
