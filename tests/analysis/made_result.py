"""A fitted day made by hand, with every kind of hole a real one can have."""

from __future__ import annotations

import math

import numpy as np

from server.analysis.result import (
    BudgetLine,
    Comparison,
    DayResult,
    Delta,
    Estimate,
    IntervalMethod,
    IntervalWindow,
    Pass,
    SetupResult,
)
from server.testday.values import Finding


def estimate(value: float, u: float, unit: str = "m²", source: str = "measured") -> Estimate:
    """A symmetric one: 95 % are 2 u each way."""
    return Estimate(value, u, value - 2.0 * u, value + 2.0 * u, unit, source)  # type: ignore[arg-type]


def coast_down(run: int, direction: int, used: bool = True, reason: str = "") -> Pass:
    """A pass of setup A or B by the run's number."""
    return Pass(run, "A" if run == 1 else "B", "coast-down", direction, 10.0, 28.5, used, reason)


def interval_method() -> IntervalMethod:
    """Two windows, one with a single pair, and no three-term fit."""
    windows = (
        IntervalWindow(20.0, (4.0, 4.2), (3.9, 4.1), 4.05, 0.012, 210.0),
        IntervalWindow(15.0, (6.0, math.nan), (5.8,), 5.9, None, 140.0),
    )
    return IntervalMethod(windows, None, (60.0, 0.9), None, estimate(1.5, 0.06), "two terms only")


def made_result() -> DayResult:
    """Setup A whole, B without an area; a comparison with a p that is no number."""
    a = SetupResult(
        "A",
        {
            "SCx": estimate(1.3849, 0.0204),
            "SCz": estimate(3.3, 0.6, source="default"),
            "LD": Estimate(2.4, math.nan, math.nan, math.nan, "1", "default"),
            "c0": estimate(0.0203, 0.0012, "–"),
        },
        (coast_down(1, 1), coast_down(1, -1), coast_down(1, 1, used=False, reason="brake at 22.0 s")),
        (),
        interval_method(),
        (
            BudgetLine("SCx", "mass", 308.0, 0.5, "kg", 0.0045, 0.00225, "B", "typed"),
            BudgetLine("SCx", "the data", None, None, "m²", None, 0.018, "A", "measured"),
        ),
        np.array([1.3, 1.4]),
    )
    b = SetupResult("B", {}, (coast_down(2, 0, used=False, reason="too short"),))
    deltas = {"SCx": Delta(0.121, 0.017, 0.087, 0.155, math.nan, 0.05, "m²")}
    findings = (
        Finding("default-used", "note", "No centre-of-gravity height was given; 0.30 ± 0.06 m is used."),
        Finding("downforce-assumed", "stop", "Setup B has no usable pass.", 2),
    )
    reference = {
        "speed_mps": 22.0,
        "density_kgm3": np.float64(1.2),
        "front_ride_height_m": None,
        "note": "calm",
    }
    return DayResult("Long apron", reference, (a, b), (Comparison("B", "A", deltas),), findings)
