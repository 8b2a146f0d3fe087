"""Logs made up for the tests of the samples store."""

from __future__ import annotations

import datetime as dt

import numpy as np

from server.testday.values import Channel, Finding, RawLog

SHA, OTHER = "a" * 64, "b" * 64


def bits(values: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """The patterns of the numbers: tells −0 from 0 and one no-number from another."""
    return np.ascontiguousarray(values, dtype=np.float64).view(np.int64)


def log_of(*channels: Channel) -> RawLog:
    return RawLog("run 1.csv", channels, "run 1.csv was made up.")


def walk(n: int, seed: int, digits: int | None = 3) -> np.ndarray:  # type: ignore[type-arg]
    values = np.cumsum(np.random.default_rng(seed).normal(0.0, 0.05, n))
    return values if digits is None else np.round(values, digits)


def mixed_log() -> RawLog:
    """Every sort of channel: shared and uneven times, decimals and floats, gaps, markup, one sample, none."""
    rng = np.random.default_rng(4)
    shared = np.arange(150_000) / 100.0
    uneven = np.cumsum(rng.exponential(0.01, 70_001))
    doubled = np.repeat(np.arange(500) / 10.0, 2)
    gappy = walk(150_000, 1)
    gappy[40_000:60_000] = np.nan
    gappy[70_000:70_010] = np.inf
    backward = np.concatenate([np.arange(900) / 10.0, np.arange(300) / 10.0])
    return RawLog(
        file="run <b>1</b>.csv",
        channels=(
            Channel("speed", "km/h", shared, walk(150_000, 2)),
            Channel("Dämpfer vorn links · 前", "mm", shared, walk(150_000, 3, None)),
            Channel("<img src=x onerror=alert(1)>", None, shared.copy(), gappy),
            Channel("speed", "m/s", uneven, walk(70_001, 4).astype(np.float32).astype(float)),
            Channel("doubled times", "", doubled, walk(1000, 5, 1)),
            Channel("times that step back", "V", backward, walk(1200, 6)),
            Channel("one", "bar", np.array([3.25]), np.array([-0.0])),
            Channel("none", "bar", np.empty(0), np.empty(0)),
        ),
        description="made up",
        start_clock_s=36_000.1,
        start_date=dt.date(2026, 5, 9),
        findings=(Finding("gaps", "check", "run <b>1</b>.csv: a gap.", start_s=400.0, end_s=600.0),),
        clock_is_utc=True,
        time_column="Zeit [s]",
    )
