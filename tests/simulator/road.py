"""The straight: grade against position, positive uphill travelling out, the same road both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
LENGTH_M = 2400.0  # tabulated from −400 m; no test reaches the ends
ORIGIN_M = -400.0
STEP_M = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Road:
    """grade: tabulated at ORIGIN_M + STEP_M·k [rise/run]; linear between."""

    grade: FloatArray
    heading_rad: float
    latitude_rad: float
    longitude_rad: float

    def distance(self) -> FloatArray:
        return ORIGIN_M + STEP_M * np.arange(self.grade.size)

    def at(self, distance_m: FloatArray) -> FloatArray:
        return np.interp(distance_m, self.distance(), self.grade)

    def elevation(self) -> FloatArray:
        """Height above the origin of the table [m], the trapezoidal integral of the grade."""
        rise = 0.5 * (self.grade[1:] + self.grade[:-1]) * STEP_M
        return np.concatenate([[0.0], np.cumsum(rise)])


def draw_road(rng: np.random.Generator, undulation_rms: float) -> Road:
    """Mean grade ± 0.4 % uniform and four waves of 120 to 900 m with the given rms of grade in all."""
    s = ORIGIN_M + STEP_M * np.arange(int(LENGTH_M / STEP_M) + 1)
    weights = rng.dirichlet(np.ones(4))
    waves = np.zeros_like(s)
    for weight in weights:
        length = np.exp(rng.uniform(np.log(120.0), np.log(900.0)))
        amplitude = undulation_rms * np.sqrt(2.0 * weight)
        waves += amplitude * np.sin(2.0 * np.pi * s / length + rng.uniform(0.0, 2.0 * np.pi))
    return Road(
        grade=float(rng.uniform(-0.004, 0.004)) + waves,
        heading_rad=float(rng.uniform(0.0, 2.0 * np.pi)),
        latitude_rad=float(np.radians(rng.uniform(-55.0, 60.0))),
        longitude_rad=float(np.radians(rng.uniform(-179.0, 179.0))),
    )
