"""What the figures of a run are drawn of, apart from the drawing, which is slow to import."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.analysis.result import DayResult, Pass
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class TurnedDown:
    """A coast-down that no fit used: speed [m/s] and resistance [N] by the log alone, shape (n,)."""

    of: Pass
    speed_mps: FloatArray
    resistance_n: FloatArray


@dataclass(frozen=True, slots=True)
class RunFigure:
    """What is drawn of a run: its part of the result, and what the log says of what was turned down."""

    result: DayResult
    down: Sequence[TurnedDown] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ChannelTrace:
    """Points of a channel; arrays of shape (n_points,). Times [s] on the same clock as the passes.

    Each point stands for the samples from first_s to last_s, low and high the least and greatest of them [unit];
    samples one by one have first_s = last_s and low = high. Not a number: nothing was logged there.
    """

    name: str
    unit: str | None
    first_s: FloatArray
    last_s: FloatArray
    low: FloatArray
    high: FloatArray
