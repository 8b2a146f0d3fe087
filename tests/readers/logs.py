"""Help for the readers' tests: tables as text, and logs read from them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from server.readers.csv_log import read_csv_log
from server.testday.values import Channel, RawLog

SHARED = Path(__file__).resolve().parents[3] / "shared" / "data"


def lines(row: Callable[[int], str], count: int = 50) -> str:
    """`count` lines, each row(i)."""
    return "".join(row(i) + "\n" for i in range(count))


def read(text: str | bytes, encoding: str = "utf-8", **options: str | None) -> RawLog:
    """Read a log from text."""
    data = text if isinstance(text, bytes) else text.encode(encoding)
    return read_csv_log(data, name="run01.csv", **options)


def channel(raw: RawLog, name: str) -> Channel:
    """The channel of that name."""
    return next(c for c in raw.channels if c.name == name)


def names(raw: RawLog) -> list[str]:
    """The names of all channels in order."""
    return [c.name for c in raw.channels]


def codes(raw: RawLog) -> set[str]:
    """The codes of all findings."""
    return {f.code for f in raw.findings}


def said(raw: RawLog, code: str) -> str:
    """The text of the one finding with that code."""
    (text,) = [f.text for f in raw.findings if f.code == code]
    return text


def is_sound(raw: RawLog) -> bool:
    """Whether every channel holds finite samples at strictly rising times."""
    return all(
        len(c.values) == len(c.time_s) > 0
        and np.isfinite(c.values).all()
        and np.isfinite(c.time_s).all()
        and (np.diff(c.time_s) > 0).all()
        for c in raw.channels
    )
