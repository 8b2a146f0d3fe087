"""Pressure taps as CFD predicts them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TapCase:
    """A pressure coefficient predicted at a named tap; u is its standard uncertainty, 0 where nobody stated one.

    cp = (p − p∞) / (½ρU²), of the undisturbed air.
    """

    setup: str
    tap: str
    cp: float
    u: float = 0.0
    front_ride_height_m: float | None = None
    rear_ride_height_m: float | None = None
    yaw_rad: float = 0.0
    speed_mps: float | None = None
    source: str = ""
