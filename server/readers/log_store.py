"""A RawLog in a folder, to hand it from one process to another: arrays as they are, the rest as JSON.

Nothing in it can run: what wrote it may have been led astray by a damaged file.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path

import numpy as np

from server.testday.values import Channel, Finding, RawLog

_FACTS, _ARRAYS = "log.json", "arrays.npz"


def save_log(log: RawLog, folder: Path) -> None:
    """Write a log; times that channels share are written once."""
    times = list({id(channel.time_s): channel.time_s for channel in log.channels}.values())
    place = {id(time): index for index, time in enumerate(times)}
    facts = {
        "file": log.file,
        "description": log.description,
        "start_clock_s": log.start_clock_s,
        "start_date": log.start_date.isoformat() if log.start_date else None,
        "clock_is_utc": log.clock_is_utc,
        "time_column": log.time_column,
        "channels": [[channel.name, channel.unit, place[id(channel.time_s)]] for channel in log.channels],
        "findings": [dataclasses.asdict(finding) for finding in log.findings],
    }
    values = {f"v{index}": channel.values for index, channel in enumerate(log.channels)}
    with (folder / _ARRAYS).open("wb") as file:
        np.savez(file, **values, **{f"t{index}": time for index, time in enumerate(times)})
    (folder / _FACTS).write_text(json.dumps(facts), encoding="utf-8")


def load_log(folder: Path) -> RawLog:
    """Read a log that `save_log` wrote."""
    facts = json.loads((folder / _FACTS).read_text(encoding="utf-8"))
    with np.load(folder / _ARRAYS, allow_pickle=False) as arrays:
        times = [arrays[name] for name in sorted(_named(arrays, "t"), key=lambda name: int(name[1:]))]
        channels = tuple(
            Channel(name, unit, times[time], arrays[f"v{index}"])
            for index, (name, unit, time) in enumerate(facts["channels"])
        )
    date = facts["start_date"]
    return RawLog(
        file=facts["file"],
        channels=channels,
        description=facts["description"],
        start_clock_s=facts["start_clock_s"],
        start_date=dt.date.fromisoformat(date) if date else None,
        findings=tuple(Finding(**finding) for finding in facts["findings"]),
        clock_is_utc=facts["clock_is_utc"],
        time_column=facts["time_column"],
    )


def _named(arrays: np.lib.npyio.NpzFile, kind: str) -> list[str]:
    return [name for name in arrays.files if name.startswith(kind)]
