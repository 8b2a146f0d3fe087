"""predictions.csv of a day folder: one predicted case a line."""

from __future__ import annotations

from pathlib import Path

from server.testday import folder_keys as keys
from server.testday.folder_csv import read_lines
from server.testday.folder_keys import Key
from server.testday.folder_numbers import exact_number, number, stated_u
from server.testday.folder_paths import inside
from server.testday.folder_table import Table, nearest
from server.testday.values import Finding, PredictionCase, Quantity, Setup

FILE = "predictions.csv"
_AREAS = (keys.SCX, *keys.SCZ, keys.SCZ_TOTAL)
_NUMBERS = (*keys.RIDE_HEIGHTS, keys.YAW, keys.SPEED, *_AREAS)
_TEXTS = ("setup", "part", "source")


def read_predictions(
    folder: Path, setups: tuple[Setup, ...], findings: list[Finding]
) -> tuple[PredictionCase, ...]:
    """Read the predicted cases; none where the file is absent.

    A case of a setup that the day does not define is kept and noted.
    """
    if not (folder / FILE).exists():
        return ()
    here = Table({}, "", "", findings)
    inside(folder, here, FILE, FILE)
    numbers = [name for key in _NUMBERS for name in key.names]
    lines = read_lines(folder / FILE, FILE, numbers, _TEXTS, findings)
    cases = tuple(_case(line) for line in lines)
    names = [setup.name for setup in setups]
    for name in dict.fromkeys(case.setup for case in cases if case.setup not in names):
        text = f"{FILE}: setup {name!r} is not a setup of this day{nearest(name, names)}."
        findings.append(Finding("prediction-setup", "check", text))
    return cases


def _case(line: Table) -> PredictionCase:
    setup = line.text("setup")
    if not setup:
        line.missing("setup", "; a predicted case belongs to one")
    front, rear = (exact_number(line, key) for key in keys.RIDE_HEIGHTS)
    scx, scz_front, scz_rear, scz = (_area(line, key) for key in _AREAS)
    if scx is None and scz_front is None and scz_rear is None and scz is None:
        line.missing(keys.SCX.name, "; a case gives one of scx_m2, scz_front_m2, scz_rear_m2, scz_m2")
    return PredictionCase(
        setup=setup,
        front_ride_height_m=front,
        rear_ride_height_m=rear,
        yaw_rad=exact_number(line, keys.YAW) or 0.0,
        speed_mps=exact_number(line, keys.SPEED),
        scx_m2=scx,
        scz_front_m2=scz_front,
        scz_rear_m2=scz_rear,
        part=line.text("part") or "",
        source=line.text("source") or "",
        scz_m2=scz,
    )


def _area(line: Table, key: Key) -> Quantity | None:
    """Return a predicted area; u is its numerical uncertainty, 0 where none is stated."""
    value = number(line, key)
    u = stated_u(line, key, value)
    return None if value is None else Quantity(value, u or 0.0, "predicted")
