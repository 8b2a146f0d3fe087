"""What a day's fit starts from: grid, priors, noise terms, and which columns keep what is stated."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from server.analysis.day_grid import DayGrid
from server.analysis.day_noise import DayNoise
from server.analysis.day_priors import Priors
from server.analysis.weather import DayAir
from server.testday.values import Car, FloatArray

TOLD_DELAY_U_S = 0.05  # a wheel's speed beside the satellite's tells it to 0.01 s or so
TOLD_SCALE_U = 0.004  # above it no satellite speed told the scale of speed


@dataclass(frozen=True, slots=True, eq=False)
class DayProblem:
    """Everything the posterior needs: grid, priors, noise terms; bent: columns of bends that were found.

    zero_priors, wind_priors, scatter_priors: means and precisions by noise value, kept by `day_prior_matrix`.
    """

    grid: DayGrid
    priors: Priors
    noise: DayNoise
    setup_names: tuple[str, ...]
    car: Car
    air: DayAir
    bent: tuple[int, ...] = ()
    zero_priors: dict[float, list[tuple[FloatArray, FloatArray]]] = field(default_factory=dict)
    wind_priors: dict[float, tuple[FloatArray, FloatArray]] = field(default_factory=dict, init=False)
    scatter_priors: dict[float, FloatArray] = field(default_factory=dict, init=False)

    @property
    def measured_setups(self) -> frozenset[str]:
        """Setups of which any pass has axle loads."""
        return frozenset(d.of.setup for d in self.grid.passes if d.loads)


def kept_scale(problem: DayProblem) -> np.ndarray | None:
    """Columns of the speed's scale, growth and delay that keep what is known of them beforehand, where no second speed
    tells them. The passes can't: but fifty of them would move a scale by many times its u for the least misfit at low
    speed, and loads would move a delay by as much for what joints or a bend do to their curve over speed."""
    place = problem.priors.index("scale0")
    kept = [] if problem.priors.u[place] <= TOLD_SCALE_U else [place, problem.priors.index("scale2")]
    delay = problem.priors.index("delay")
    if problem.grid.load_kinds and problem.priors.u[delay] > TOLD_DELAY_U_S:
        kept.append(delay)
    kept += [i for i, q in enumerate(problem.priors.parameters) if q.name.startswith(("speedometer_", "speed_late"))]
    return np.array(kept) if kept else None


def place_of_bend(problem: DayProblem, setup: str) -> np.ndarray:
    """Columns of a setup's bend, front and rear."""
    return np.array([problem.priors.index(f"bend_{end}:{setup}") for end in ("front", "rear")])
