"""How unsteady a tuft is over frames of a burst, how sure that is, and the condition that it lets propose."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.inference.circular import circular_mean, wrapped
from server.testday.tufts import Condition

FloatArray = NDArray[np.float64]
# Circular standard deviation of a tuft's direction over frames (common practice, no source).
STEADY_RAD = math.radians(10.0)
UNSTEADY_RAD = math.radians(30.0)
REVERSED_RAD = math.radians(90.0)  # turned so far from the flow around (common practice, no source)
SAME_AS_STILL_RAD = math.radians(8.0)  # hangs as it does without flow (common practice, no source)
LEAST_SHARE = 0.7  # of the frames: found on fewer, its spread has no bounds, for it may be a smear on the others
# Wider than 2.5 and 97.5 %: of made-up bursts, in which a bar that is no tuft's joins now and then, those held 89 %
# of the spreads, these 94 %, and more where few frames missed the tuft.
BOUNDS = (0.005, 0.5, 0.995)
WIDEST_RAD = math.radians(120.0)  # beyond, a handful of frames tells nothing of the spread
_GRID = np.geomspace(math.radians(0.05), WIDEST_RAD, 120)
_DRAWS = 4000
_SEED = 20


@dataclass(frozen=True, slots=True)
class Unsteadiness:
    """Circular standard deviation over n frames with its 95 % bounds [rad]; high_rad inf: it may be any."""

    spread_rad: float
    low_rad: float
    high_rad: float
    n: int


def unsteadiness(ways_rad: FloatArray, u_rad: float = 0.0, missed: int = 0) -> Unsteadiness:
    """The spread of a tuft's direction from frame to frame, that of reading (u of one frame) taken off.

    The bounds are the spreads of wrapped normal directions of which `BOUNDS` of samples of n frames have a resultant
    length as small, or as great, as was seen: R̄ of samples drawn once for each spread of a grid. That of reading is
    taken off the estimate and the lower bound alone, so that a u that is said too large makes no interval too short.
    Frames count as independent: they must be further apart than the flutter remembers. missed: frames on which the
    tuft was not found. Raises ValueError for fewer than two directions.
    """
    n = len(ways_rad)
    if n < 2:
        raise ValueError("ways_rad: at least two")
    seen = circular_mean(ways_rad).resultant
    few, middle, many = _quantiles(n)
    spread = float(_spread_at(middle, seen))
    low, high = float(_spread_at(few, seen)), float(_spread_at(many, seen))
    lower, told = (math.sqrt(max(each**2 - u_rad**2, 0.0)) for each in (low, min(spread, WIDEST_RAD)))
    if n < LEAST_SHARE * (n + missed):
        return Unsteadiness(told, 0.0, math.inf, n)
    return Unsteadiness(told, lower, math.inf if high >= WIDEST_RAD else high, n)


@lru_cache(maxsize=64)
def _quantiles(n: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Quantiles `BOUNDS` of R̄ of n wrapped normal directions, over the grid of spreads; each falls."""
    rng = np.random.default_rng(_SEED)
    normal = rng.standard_normal((_DRAWS, n))
    rows = []
    for spread in _GRID:
        turned = spread * normal
        length = np.hypot(np.cos(turned).mean(axis=1), np.sin(turned).mean(axis=1))
        rows.append(np.quantile(length, BOUNDS))
    low, middle, high = (np.minimum.accumulate(column) for column in np.array(rows).T)
    return low, middle, high


def _spread_at(falling: FloatArray, seen: float) -> float:
    """The spread at which a quantile of R̄ falls to what was seen, linear in 1 − R̄ between the grid's squares."""
    return float(np.sqrt(np.interp(1.0 - seen, 1.0 - falling, _GRID**2)))


def proposed_condition(
    spread_rad: float | None,
    direction_rad: float | None,
    flow_rad: float | None = None,
    still_rad: float | None = None,
) -> Condition | None:
    """A condition for a person to accept: reversed against the flow around, separated where it swings widely or hangs
    as it does without flow, unsteady or attached by its spread; None where nothing tells.

    spread_rad: circular standard deviation over frames; flow_rad: of the flow around it; still_rad: its direction on a
    photo without flow. Thresholds: `STEADY_RAD`, `UNSTEADY_RAD`, `REVERSED_RAD`, `SAME_AS_STILL_RAD`.
    """
    if spread_rad is not None and spread_rad > UNSTEADY_RAD:
        return "separated"
    if direction_rad is not None and flow_rad is not None and abs(wrapped(direction_rad - flow_rad)) > REVERSED_RAD:
        return "reversed"
    if direction_rad is not None and still_rad is not None:
        along = flow_rad is not None and abs(wrapped(still_rad - flow_rad)) < 2.0 * SAME_AS_STILL_RAD
        if abs(wrapped(direction_rad - still_rad)) < SAME_AS_STILL_RAD and not along:
            return "separated"
    if spread_rad is None:
        return None
    return "unsteady" if spread_rad > STEADY_RAD else "attached"


def open_between(told: Unsteadiness) -> bool:
    """Whether the interval reaches over a threshold, so that the next condition is possible, too."""
    return any(told.low_rad < limit < told.high_rad for limit in (STEADY_RAD, UNSTEADY_RAD))
