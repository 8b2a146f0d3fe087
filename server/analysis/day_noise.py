"""The noise parameters of a day and their priors: gusts, sensors, slow wind, scatter of the tyres.

Gusts have a strength σ and a time τ; a pass tells σ²τ, which is what moves a car, better than either alone, so
both are integrated over together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.load_data import AXLE_OF, LOAD_KINDS, UNIT_OF
from server.analysis.pass_data import AIR, SATELLITE, SPEEDOMETER, WHEEL
from server.inference.augmented_filter import FilterNoise
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True)
class NoiseTerm:
    """One noise parameter: median and standard deviation of its natural logarithm, whether the result is integrated
    over it (else it is taken at its best value), about how well a day tells it (log sd, for the search), and
    whether it is taken wider by what the day leaves open of it."""

    name: str
    median: float
    log_sd: float
    integrated: bool = True
    told: float = 0.4
    widened: bool = False


# How much larger the errors of typed marks are than stated; a day of few marks hardly tells.
TYPED_WHITE = NoiseTerm("typed_white", 1.0, 0.25, integrated=False, told=0.15)
GUST_SD = NoiseTerm("gust_sd", 0.6, 0.9, told=0.2)  # m/s
GUST_TIME = NoiseTerm("gust_time", 12.0, 0.8)  # s, at 20 m/s air speed
# α of τ ∝ (20 m/s / U)^α, as α / (1 − α): 0 a gust fixed in time, 1 frozen air that the car drives through
GUST_FROZEN = NoiseTerm("gust_frozen", 1.0, 1.5, told=1.2)
SLOW_WIND = NoiseTerm("slow_wind", 0.5, 0.7)  # m/s
SCATTER = NoiseTerm("scatter", 0.025, 0.6)  # of c0
WAVE = NoiseTerm("wave", 0.0006, 0.9)  # rms grade
WHEEL_WHITE = NoiseTerm("wheel_white", 0.03, 1.0, integrated=False, told=0.05)  # m/s, a block mean
SATELLITE_WHITE = NoiseTerm("satellite_white", 0.05, 1.0, integrated=False, told=0.08)
SATELLITE_COLOUR = NoiseTerm("satellite_colour", 0.06, 1.0, integrated=False, told=0.15)
SATELLITE_TIME = NoiseTerm("satellite_time", 2.0, 0.7, integrated=False)  # s
AIR_WHITE = NoiseTerm("air_white", 0.15, 1.0, integrated=False, told=0.05)  # m/s, a block mean
AIR_COLOUR = NoiseTerm("air_colour", 0.25, 0.9, integrated=False, told=0.15, widened=True)  # m/s, about the probe only
AIR_TIME = NoiseTerm("air_time", 1.0, 0.8, integrated=False, widened=True)  # s
LOAD_WHITE = {  # a block mean: N of dampers and push rods, m of ride heights
    kind: NoiseTerm(f"load_white_{kind}", 20.0 if UNIT_OF[kind] == "N" else 3e-4, 1.0, integrated=False, told=0.06)
    for kind in LOAD_KINDS
}
FRICTION_FRONT = NoiseTerm("friction_front", 12.0, 0.9, integrated=False, widened=True)  # N of the axle, about its mean
FRICTION_REAR = NoiseTerm("friction_rear", 12.0, 0.9, integrated=False, widened=True)
FRICTION_TIME = NoiseTerm("friction_time", 4.0, 0.8, integrated=False, widened=True)  # s
ZERO_DRIFT = NoiseTerm("zero_drift", 5e-5, 1.0, integrated=False, widened=True)  # m of wheel travel, in ten minutes


# Gusts come in spells and in more than one time, so a day tells less than all of their slow power: over simulated days
# their strength was found 7 % low in the median. The areas are told with gusts this much stronger than those found.
BEYOND_FOUND = 1.08


@dataclass(frozen=True, slots=True)
class DayNoise:
    """The noise terms a day needs, in order, with values from a vector of logarithms."""

    terms: tuple[NoiseTerm, ...]

    @property
    def log_median(self) -> FloatArray:
        """Prior means of the logarithms, (k,)."""
        return np.log([t.median for t in self.terms])

    @property
    def log_sd(self) -> FloatArray:
        """Prior standard deviations of the logarithms, (k,)."""
        return np.array([t.log_sd for t in self.terms])

    @property
    def integrated(self) -> NDArray[np.bool_]:
        """Which terms the result is integrated over, (k,)."""
        return np.array([t.integrated for t in self.terms])

    @property
    def told(self) -> FloatArray:
        """About how well a day tells each, as log standard deviations, (k,)."""
        return np.array([t.told for t in self.terms])

    def values(self, log: FloatArray) -> dict[str, float]:
        """Name → value at a point."""
        return {t.name: float(np.exp(x)) for t, x in zip(self.terms, log, strict=True)}

    def with_allowance(self, log: FloatArray) -> FloatArray:
        """The point with gusts as strong as the areas' uncertainty takes them."""
        wider = log.copy()
        wider[[t.name for t in self.terms].index("gust_sd")] += np.log(BEYOND_FOUND)
        return wider

    def log_prior(self, log: FloatArray) -> float:
        """Log of the normal prior density, without its constant."""
        return -0.5 * float(np.sum(((log - self.log_median) / self.log_sd) ** 2))


def day_noise(kinds: set[int], waves: bool, load_kinds: tuple[int, ...] = ()) -> DayNoise:
    """The terms for a day with these kinds of speed and load sensors, with or without an undulating straight."""
    terms = [GUST_SD, GUST_TIME, GUST_FROZEN, SLOW_WIND, SCATTER]
    if waves:
        terms.append(WAVE)
    if WHEEL in kinds:
        terms.append(WHEEL_WHITE)
    if SATELLITE in kinds:
        terms += [SATELLITE_WHITE, SATELLITE_COLOUR, SATELLITE_TIME]
    if SPEEDOMETER in kinds:
        terms.append(TYPED_WHITE)
    if load_kinds:
        terms += [LOAD_WHITE[kind] for kind in load_kinds]
        ends = {AXLE_OF[kind] for kind in load_kinds}
        terms += [FRICTION_FRONT] * ("front" in ends) + [FRICTION_REAR] * ("rear" in ends)
        terms += [FRICTION_TIME, ZERO_DRIFT]
    if AIR in kinds:
        terms += [AIR_WHITE, AIR_COLOUR, AIR_TIME]
    return DayNoise(tuple(terms))


def gust_exponent(values: Mapping[str, float]) -> float:
    """α of τ ∝ U^−α, between 0 and 1."""
    return values["gust_frozen"] / (1.0 + values["gust_frozen"])


def filter_noise(values: Mapping[str, float]) -> FilterNoise:
    """The filter's noise from named values; a sensor that is not there takes its median."""
    tau = values["gust_time"]
    white = [values.get("wheel_white", 0.03), values.get("satellite_white", 0.05)]
    colour, times = [values.get("satellite_colour", 0.0)], [values.get("satellite_time", 2.0)]
    if "friction_time" in values:
        white += [values.get(f"load_white_{kind}", 1.0) for kind in LOAD_KINDS]
        colour += [values.get("friction_front", 0.0), values.get("friction_rear", 0.0)]
        times += [values["friction_time"]] * 2
    if "typed_white" in values:
        white += [1.0] * (SPEEDOMETER - len(white)) + [values["typed_white"]]
    if "air_white" in values:
        white += [1.0] * (AIR - len(white)) + [values["air_white"]]
        colour, times = [*colour, values["air_colour"]], [*times, values["air_time"]]
    return FilterNoise(values["gust_sd"], tau, np.array(white), np.array(colour), np.array(times))
