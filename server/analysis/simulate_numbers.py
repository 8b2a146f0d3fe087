"""What the compiled loops of the simulator take: plain numbers by name, whose order is the arrays'."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, TypeVar, cast

import numba

from server.testday.values import FloatArray

COASTING, HOLDING, RETURNING = 0, 1, 2

_Function = TypeVar("_Function", bound=Callable[..., object])


class CarNumbers(NamedTuple):
    """The car and the air in one run, SI; names as in the equation above, then the tyres' warm-up."""

    mass: float
    mass_e: float
    density: float
    scx: float
    c0: float
    c1: float
    t0: float
    t1: float
    yaw: float
    gravity: float
    warm_up: float
    heating: float
    cooling: float


class DriverNumbers(NamedTuple):
    """`DriverPlan` and the length of the straight, SI."""

    power: float
    grip: float
    stopping: float
    radius: float
    turn_speed: float
    stand: float
    slow_speed: float
    near: float
    far: float
    margin: float
    length: float


class AxleNumbers(NamedTuple):
    """One axle: downforce area at the reference condition, its relative change per metre of sink, the sink there,
    joint friction of both corners, rate of both tyres, share of the load transfer that it takes (−1, +1), what a
    newton of drive does to its springs past the load, then its wheel travel on an even grid of spring load from
    `low`, SI.
    """

    area: float
    bend: float
    reference_sink: float
    friction: float
    tyre_rate: float
    side: float
    link: float
    low: float
    spacing: float
    travel: FloatArray


class BodyNumbers(NamedTuple):
    """m h/L, Σ(J/r)/L [kg] and how far the tyres' growth lifts the body at 1 m/s [m/(m/s)²]."""

    lever: float
    spin: float
    lift: float


class LegNumbers(NamedTuple):
    """One trip: direction ±1, kind (`COASTING`, `HOLDING`, `RETURNING`), lift or held speed, brake speed, how long
    a speed is held, scatter of c0, last of the run."""

    direction: float
    kind: int
    high: float
    low: float
    hold: float
    scatter: float
    last: bool


class GustNumbers(NamedTuple):
    """Gust: sd [m/s], time [s], 1/length [1/m], side gust over head-on gust."""

    sd: float
    time: float
    per_length: float
    cross: float


class SlowWind(NamedTuple):
    """Slow wind on an even clock from the start of the run [s]: head wind travelling out, from the right."""

    clock: FloatArray
    head: FloatArray
    cross: FloatArray


class State(NamedTuple):
    """Where a trip begins and ends: speed, place, offset, angle, both gusts, warmth of the tyres, time, load on the
    springs of both axles."""

    v: float
    s: float
    y: float
    angle: float
    gust: float
    side_gust: float
    warmth: float
    clock: float
    held: tuple[float, float]


def compiled(function: _Function) -> _Function:
    """The function compiled by numba, kept on disk."""
    return cast(_Function, numba.njit(cache=True, nogil=True)(function))


@compiled
def lookup(x: float, spacing: float, table: FloatArray) -> float:
    """Linear interpolation on an even grid from 0, held at both ends."""
    place = x / spacing
    index = min(max(int(place), 0), table.shape[0] - 2)
    share = min(max(place - index, 0.0), 1.0)
    return float((1.0 - share) * table[index] + share * table[index + 1])
