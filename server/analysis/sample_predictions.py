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


FORCES_FILE = "forces of half the car, made up.csv"
SPEED_MPS, DENSITY_KGM3 = 20.0, 1.2
NAMES = {"A": "Base", "B": "Rear flap up", "C": "Front flaps down"}
MESHES = ((21_600_000, 1.0), (6_400_000, 1.5), (2_700_000, 2.0))
"""Cells, and size relative to the finest; the values run to those of `predictions_csv` as the size squared."""
STEP = (0.006, 0.010, 0.008)


def forces_csv() -> str:
    """The same setups as a solver may hand them over: half the car, forces, lift positive, three meshes, one bad row.

    Made up; to be brought in by hand.
    """
    lines = ["Forces of half the car, made up", "Variant;RH front;RH rear;Drag;Lift front;Lift rear;Velocity;Cells"]
    lines.append(";mm;mm;N;N;N;km/h;")
    for setup in NAMES:
        lines += [_forces(setup, cells, size) for cells, size in MESHES]
    lines.append("Rear flap up;22;26;126,3;n/c;n/c;72;21.600.000")
    return "\r\n".join(lines) + "\r\n"


def _forces(setup: str, cells: int, size: float) -> str:
    pressure = 0.5 * DENSITY_KGM3 * SPEED_MPS**2
    areas = [a * off * (1.0 + step * size**2) for a, off, step in zip(AREAS[setup], OFF[setup], STEP, strict=True)]
    forces = [sign * 0.5 * pressure * area for sign, area in zip((1, -1, -1), areas, strict=True)]
    numbers = [f"{force:.3f}".replace(".", ",") for force in forces]
    numbers[2] += " N" if cells == MESHES[0][0] else ""
    count = f"{cells:,}".replace(",", ".")
    return f"{NAMES[setup]};26;30;{';'.join(numbers)};72;{count}"
