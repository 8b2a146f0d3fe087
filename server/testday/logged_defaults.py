"""Notes on wide defaults that matter only where something was logged."""

from __future__ import annotations

from collections.abc import Iterable

from server.testday import folder_keys as keys
from server.testday.folder_keys import Key
from server.testday.folder_numbers import spoken
from server.testday.values import Day, Finding, Quantity, Recording

_HEIGHT = "ride_height_"


def logged_defaults(file: str, day: Day) -> list[Finding]:
    """Return a note for each default that a logged ride height brings in: tyre rate and place of the sensor.

    file: how the day's file is called in a sentence. Both axles stand in one note where both take the same.
    """
    ends = [end for end in ("front", "rear") if _height_logged(day, end)]
    found = []
    for key in (keys.TYRE_RATE, keys.SENSOR_X):
        taken: dict[Quantity, list[str]] = {}
        for end in ends:
            quantity: Quantity = getattr(getattr(day.car, end), key.field)
            if quantity.source == "default":
                taken.setdefault(quantity, []).append(f"[car.{end}]")
        found += [_note(file, key, quantity, tables) for quantity, tables in taken.items()]
    return found


def _note(file: str, key: Key, quantity: Quantity, tables: list[str]) -> Finding:
    where = " and ".join(tables)
    text = f"{file}: {where} {key.name} is not given; {spoken(quantity, key)} is used with the ride heights logged."
    return Finding("default-used", "note", text)


def _height_logged(day: Day, end: str) -> bool:
    stem = f"{_HEIGHT}{end[0]}"
    return any(role.startswith(stem) for recording in _recordings(day) for role in recording.signals)


def _recordings(day: Day) -> Iterable[Recording]:
    yield from (recording for run in day.runs for recording in run.recordings)
    yield from (loading.recording for loading in day.axle_loadings if loading.recording is not None)
