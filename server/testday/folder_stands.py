"""The [[spin_downs]] and [[axle_loadings]] of a day folder: tests of the standing car."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from server.testday import folder_keys as keys
from server.testday.folder_channels import read_channels
from server.testday.folder_keys import Key
from server.testday.folder_numbers import exact_number, needed_number, quantity, quantity_or_default
from server.testday.folder_paths import inside, signals_inside
from server.testday.folder_table import Table
from server.testday.values import AxleLoading, LogFile, SpinDown

Span = tuple[float, float]
_ENDS: tuple[Literal["front", "rear"], ...] = ("front", "rear")


def read_spin_downs(root: Table, folder: Path) -> tuple[SpinDown, ...]:
    """Read the spin-downs of the driven wheels, each with its log or a part of one."""
    return tuple(_spin_down(table, folder) for table in root.tables("spin_downs", "[[spin_downs]]"))


def read_axle_loadings(root: Table, folder: Path) -> tuple[AxleLoading, ...]:
    """Read the loadings of an axle by a known mass, each with its windows of the log."""
    return tuple(_loading(table, folder) for table in root.tables("axle_loadings", "[[axle_loadings]]"))


def _spin_down(table: Table, folder: Path) -> SpinDown:
    file = _log(table, folder, "a spin-down", "spin1")
    start, end = exact_number(table, keys.FROM), exact_number(table, keys.TO)
    if start is not None and end is not None and end <= start:
        table.refuse("to_s", f"is {end:g}, not after from_s = {start:g}.")
    return SpinDown(
        LogFile(file, from_s=start, to_s=end, signals=signals_inside(folder, table)),
        channels=_channels(table),
        notes=table.text("notes") or "",
    )


def _loading(table: Table, folder: Path) -> AxleLoading:
    end = _axle(table)
    mass = quantity(table, keys.LOADING_MASS)
    if mass is None:
        table.missing(keys.LOADING_MASS.name, "; it says what was put on the axle")
    file = _log(table, folder, "an axle loading", "loading1")
    for key in (keys.BARE_FROM, keys.BARE_TO, keys.LOADED_FROM, keys.LOADED_TO):
        table.get(key.name)  # known, so that none is offered for another that is missing
    bare = _window(table, keys.BARE_FROM, keys.BARE_TO)
    loaded = _window(table, keys.LOADED_FROM, keys.LOADED_TO)
    if bare[0] < loaded[1] and loaded[0] < bare[1]:
        table.refuse(
            keys.LOADED_FROM.name,
            f"to loaded_to_s is {loaded[0]:g} to {loaded[1]:g} s and meets the bare window, "
            f"{bare[0]:g} to {bare[1]:g} s; the car is either bare or loaded.",
        )
    return AxleLoading(
        axle=end,
        mass_kg=mass,
        log=LogFile(file, signals=signals_inside(folder, table)),
        bare_s=bare,
        loaded_s=loaded,
        share=quantity_or_default(table, keys.LOADING_SHARE),
        channels=_channels(table),
    )


def _axle(table: Table) -> Literal["front", "rear"]:
    word = table.word("axle", _ENDS, "the loaded axle")
    if word is None:
        table.missing("axle", "; it says which axle was loaded, front or rear")
    return "front" if word == "front" else "rear"


def _log(table: Table, folder: Path, what: str, example: str) -> str:
    named = table.text("log")
    if not named:
        table.missing("log", f'; {what} needs its log, such as log = "logs/{example}.csv"')
    return inside(folder, table, "log", named)


def _window(table: Table, first: Key, last: Key) -> Span:
    start, end = needed_number(table, first), needed_number(table, last)
    if end <= start:
        table.refuse(last.name, f"is {end:g}, not after {first.name} = {start:g}.")
    return start, end


def _channels(table: Table) -> dict[str, str]:
    array = table.label.split("]]")[0].strip("[")
    header = f"[{array}.channels]"
    return dict(read_channels(table.table("channels", f"{table.label} {header}", header)))
