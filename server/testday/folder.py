"""A test day as a folder: testday.toml, its logs and its optional files, read into a `Day`.

`read_folder` opens no log: `server.readers.load_day` does. `write_folder` is its inverse.
"""

from __future__ import annotations

import zoneinfo
from pathlib import Path

from server.errors import DayFolderError
from server.testday import folder_keys as keys
from server.testday.folder_car import read_car
from server.testday.folder_channels import read_channels
from server.testday.folder_checks import doubts
from server.testday.folder_numbers import exact_number
from server.testday.folder_paths import inside, signals_inside
from server.testday.folder_predictions import read_predictions
from server.testday.folder_runs import read_runs
from server.testday.folder_setups import read_setups
from server.testday.folder_stands import read_axle_loadings, read_spin_downs
from server.testday.folder_table import Table, nearest
from server.testday.folder_toml import read_toml
from server.testday.folder_trackside import read_acknowledged, read_checklist, read_wanted
from server.testday.folder_venue import read_venue
from server.testday.folder_weather import read_weather
from server.testday.folder_write import write_folder
from server.testday.values import Day, Finding, Run, Setup

__all__ = ["FILE", "FORMAT", "read_folder", "write_folder"]

FILE = "testday.toml"
FORMAT = 1
REFERENCE_SPEED_MPS = 22.0


def read_folder(path: Path | str) -> Day:
    """Read a day folder (or its testday.toml) into a `Day` without recordings.

    What is missing and has a default takes it, with a finding "default-used". Raises DayFolderError, one
    sentence naming file, table and key, where something required is missing or impossible.
    """
    folder = _folder(Path(path))
    findings: list[Finding] = []
    root = Table(read_toml(folder / FILE, FILE), FILE, "", findings)
    _check_format(root)
    venue = read_venue(root, folder)
    car = read_car(root)
    weather = read_weather(root, folder)
    setups = read_setups(root)
    runs = read_runs(root, folder, setups)
    setups = setups or _bare_setups(runs)
    findings += doubts(FILE, venue, weather)
    return Day(
        name=folder.resolve().name if (name := root.text("name")) is None else name,
        date=root.date("date"),
        car=car,
        weather=weather,
        setups=setups,
        runs=runs,
        venue=venue,
        timezone=_timezone(root),
        reference_speed_mps=_reference_speed(root),
        notes=root.text("notes") or "",
        channels=read_channels(root.table("channels", "[channels]")),
        predictions=read_predictions(folder, setups, findings),
        spin_downs=read_spin_downs(root, folder),
        axle_loadings=read_axle_loadings(root, folder),
        signals=signals_inside(folder, root),
        checklist=read_checklist(root),
        acknowledged=read_acknowledged(root),
        wanted=read_wanted(root, setups),
        findings=_closed(root),
    )


def _closed(root: Table) -> tuple[Finding, ...]:
    root.close()
    return tuple(root.findings)


def _folder(path: Path) -> Path:
    folder = path.parent if path.name == FILE else path
    if not folder.is_dir():
        raise DayFolderError(f"{path}: is no folder; a test day is a folder with a {FILE} in it.")
    if not (folder / FILE).is_file():
        raise DayFolderError(f"{FILE}: is missing in the folder {folder}.")
    inside(folder, Table({}, "", "", []), FILE, FILE)
    return folder


def _check_format(root: Table) -> None:
    version = root.whole("format", 1, 10**6, "the format")
    if version is not None and version > FORMAT:
        root.refuse(
            "format", f"is {version}; this program reads format {FORMAT}, a newer one wrote the folder."
        )


def _reference_speed(root: Table) -> float:
    speed = exact_number(root, keys.REFERENCE_SPEED)
    return REFERENCE_SPEED_MPS if speed is None else speed


def _timezone(root: Table) -> str | None:
    name = root.name("timezone")
    if not name:
        return None
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        near = nearest(name, zoneinfo.available_timezones())
        root.refuse("timezone", f'is {name!r}, which is no time zone such as "Europe/Lisbon"{near}.')
    return name


def _bare_setups(runs: tuple[Run, ...]) -> tuple[Setup, ...]:
    return tuple(Setup(name) for name in dict.fromkeys(run.setup for run in runs))
