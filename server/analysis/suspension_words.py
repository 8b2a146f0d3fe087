"""How suspension sensors, runs and sizes are called in findings."""

from __future__ import annotations

from collections.abc import Iterable

from server.analysis.suspension_sensors import Sensor


def called(sensor: Sensor) -> str:
    """'The front left damper (damper_fl)'."""
    side = "" if sensor.side == "whole" else f" {sensor.side}"
    what = {"damper": "damper", "ride height": "ride-height sensor", "push rod": "push rod's sensor"}[sensor.source]
    return f"The {sensor.axle}{side} {what} ({sensor.role})"


def runs_called(numbers: Iterable[int], all_runs: Iterable[int]) -> str:
    """'in run 3', 'in runs 1 to 3 and 7', or 'all day'."""
    runs, every = sorted(set(numbers)), sorted(set(all_runs))
    if runs == every and len(every) > 1:
        return "all day"
    return f"in run{'' if len(runs) == 1 else 's'} {_listed(_stretches(runs, every))}"


def size(sensor: Sensor, reading: float) -> str:
    """A reading with its unit as people at a track say it: mm or N."""
    if sensor.unit_m:
        shown = 0.0 if abs(reading) < 5e-6 else 1e3 * reading
        return f"{shown:.2g} mm" if abs(shown) < 10.0 else f"{shown:.0f} mm"
    return f"{reading:.0f} N"


def _stretches(runs: list[int], every: list[int]) -> list[str]:
    """Runs that follow each other as '1 to 3'."""
    found: list[list[int]] = []
    for number in runs:
        before = every[every.index(number) - 1] if number in every and every.index(number) else None
        if found and before == found[-1][-1]:
            found[-1].append(number)
        else:
            found.append([number])
    words: list[str] = []
    for each in found:
        words += [f"{each[0]} to {each[-1]}"] if len(each) > 2 else [str(number) for number in each]
    return words


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
