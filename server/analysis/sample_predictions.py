"""Made-up predictions of the season's setups: near the truth, except one drag area that is 8 % too low."""

from __future__ import annotations

from server.analysis.sample_season import AREAS

HEADER = (
    "setup,front_ride_height_mm,rear_ride_height_mm,yaw_deg,speed_mps,scx_m2,scz_front_m2,scz_rear_m2,"
    "scx_u_m2,scz_front_u_m2,scz_rear_u_m2,part,source"
)
FRONT_MM = (22.0, 26.0, 30.0)
REAR_MM = (26.0, 30.0, 34.0)
OFF = {"A": (1.01, 1.03, 0.98), "B": (1.008, 1.02, 0.97), "C": (0.92, 1.02, 0.99)}
"""Prediction over truth of SCx, SCz_front, SCz_rear; C's drag is the one that is off."""

PARTS = (
    ("front wing", 0.16, 0.62, 0.02),
    ("rear wing", 0.34, -0.16, 0.66),
    ("floor", 0.09, 0.48, 0.34),
    ("wheels", 0.25, -0.02, -0.03),
    ("body and driver", 0.16, 0.08, 0.01),
)
"""Share of SCx, SCz_front, SCz_rear by part, each adding up to 1."""


def predictions_csv(setups: tuple[str, ...]) -> str:
    """Cases around the ride heights that the car takes at the reference speed, and one case by part each."""
    lines = [HEADER]
    for setup in setups:
        lines += [_case(setup, front, rear) for front in FRONT_MM for rear in REAR_MM]
        lines += [_case(setup, FRONT_MM[1], REAR_MM[1], part) for part in PARTS]
    return "\n".join(lines) + "\n"


def _case(setup: str, front_mm: float, rear_mm: float, part: tuple[str, float, float, float] | None = None) -> str:
    name, *shares = part or ("", 1.0, 1.0, 1.0)
    lower, rake = 0.5 * (FRONT_MM[1] + REAR_MM[1] - front_mm - rear_mm), rear_mm - front_mm - 4.0
    # closer to the ground a little more of everything; more rake moves downforce to the front
    trend = (1.0 + 0.0015 * lower, 1.0 + 0.006 * lower + 0.005 * rake, 1.0 + 0.004 * lower - 0.003 * rake)
    values = [
        area * off * share * move
        for area, off, share, move in zip(AREAS[setup], OFF[setup], shares, trend, strict=True)
    ]
    numbers = ",".join(f"{value:.4f}" for value in values)
    spread = ",".join(f"{abs(value) * rel:.4f}" for value, rel in zip(values, (0.01, 0.015, 0.015), strict=True))
    return f"{setup},{front_mm:.0f},{rear_mm:.0f},0,22,{numbers},{spread},{name},made up"
