"""Predictions as plain values besides `PredictionCase`: pressure taps, and a table's rows as given and as read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.testday.values import PredictionCase


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


@dataclass(frozen=True, slots=True)
class PredictedRow:
    """A line of a table: header → cell as given, what it became and how in words, or what is wrong with it.

    cells: of the mesh, where the table has them: rows that differ by them alone are one case on several meshes.
    A row without case, tap and problem is a coarser mesh of another row's case.
    """

    line: int
    given: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    case: PredictionCase | None = None
    tap: TapCase | None = None
    problem: str = ""
    cells: float | None = None

    @property
    def taken(self) -> bool:
        """Whether the row is a case or a tap of the set."""
        return self.case is not None or self.tap is not None
