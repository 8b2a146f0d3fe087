"""Wind of the day in the earth's frame of the straight.

`head_out` is the component against travel 'out' (a head wind for a car going out, a tail wind coming back);
`cross` blows across. Slow wind wanders on the day's clock; gusts are an Ornstein–Uhlenbeck process.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.simulator.scenario import Scenario

FloatArray = NDArray[np.float64]
GRID_S = 10.0
GUST_RANGES = {"calm": (0.1, 0.3), "gusty": (0.7, 1.2), "mixed": (0.1, 1.2)}
MEAN_RANGES = {"calm": (0.0, 1.5), "gusty": (0.5, 3.0), "mixed": (0.0, 3.0)}


@dataclass(frozen=True, slots=True)
class GustLaw:
    """sigma [m/s] along and across; time τ [s], or length ℓ = τ·20 m/s [m] when `in_length`.

    intermittency: 0 Gaussian; otherwise sd of the log of a slowly varying strength.
    fast_share: share of the variance that has an eighth of the time.
    """

    sigma_mps: float
    cross_sigma_mps: float
    time_s: float
    in_length: bool
    intermittency: float = 0.0
    fast_share: float = 0.0

    @property
    def length_m(self) -> float:
        return 20.0 * self.time_s


@dataclass(frozen=True, slots=True, eq=False)
class SlowWind:
    """Slow wind on a clock grid: components against 'out' and across [m/s]."""

    clock_s: FloatArray
    head_out: FloatArray
    cross: FloatArray

    def at(self, clock_s: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        return (
            np.interp(clock_s, self.clock_s, self.head_out),
            np.interp(clock_s, self.clock_s, self.cross),
        )


def ou_path(rng: np.random.Generator, n: int, step: float, time: float, sigma: float) -> FloatArray:
    """Stationary Ornstein–Uhlenbeck samples, exact: x' = ρ x + σ√(1−ρ²) n with ρ = exp(−step/time)."""
    rho = np.exp(-step / time)
    kicks = sigma * np.sqrt(1.0 - rho**2) * rng.standard_normal(n)
    start = sigma * rng.standard_normal()
    path, _ = lfilter([1.0], [1.0, -rho], kicks, zi=[rho * start])
    return path


def draw_slow_wind(rng: np.random.Generator, scenario: Scenario, start_s: float, end_s: float) -> SlowWind:
    """Mean wind of a uniform direction plus wandering of both components over 10 to 50 minutes."""
    clock = np.arange(start_s - 600.0, end_s + 600.0, GRID_S)
    speed = rng.uniform(*MEAN_RANGES[scenario.wind])
    angle = rng.uniform(0.0, 2.0 * np.pi)
    wander = rng.uniform(0.05, 0.2) + rng.uniform(0.05, 0.15) * speed
    time = rng.uniform(600.0, 3000.0)
    head = speed * np.cos(angle) + ou_path(rng, clock.size, GRID_S, time, wander)
    cross = speed * np.sin(angle) + ou_path(rng, clock.size, GRID_S, time, wander)
    return SlowWind(clock, head, cross)


def draw_gust_law(rng: np.random.Generator, scenario: Scenario) -> GustLaw:
    sigma = float(rng.uniform(*GUST_RANGES[scenario.wind]))
    mode = scenario.gust_mode or ("length" if rng.random() < 0.5 else "time")
    return GustLaw(
        sigma_mps=sigma,
        cross_sigma_mps=sigma * float(rng.uniform(0.6, 1.0)),
        time_s=float(np.exp(rng.uniform(np.log(3.0), np.log(30.0)))),
        in_length=mode == "length",
        intermittency=0.4 if scenario.hard else 0.0,
        fast_share=0.2 if scenario.hard else 0.0,
    )
