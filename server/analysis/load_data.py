"""What suspension sensors say in a pass: block means of axle loads and ride heights, and their static zeros.

Dampers and push rods are turned into the load of an axle [N], ride heights into how far the body has come down
at the sensor [m]; each is the mean of left and right, in which anti-roll bars and roll cancel.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast

import numpy as np

from server.analysis.axle_spring import PUSHROD_RATIO_DEFAULT, AxleSpring, axle_springs, wheel_of_damper
from server.analysis.result import AxleEnd, LoadSource, Pass
from server.analysis.signal_roles import checks_of
from server.analysis.spikes import find_spikes
from server.analysis.suspension_zeros import standing_reading
from server.testday.values import Axle, Day, FloatArray, Run, Signal

DAMPER_FRONT, DAMPER_REAR, HEIGHT_FRONT, HEIGHT_REAR, ROD_FRONT, ROD_REAR = 2, 3, 4, 5, 6, 7
LOAD_KINDS = (DAMPER_FRONT, DAMPER_REAR, HEIGHT_FRONT, HEIGHT_REAR, ROD_FRONT, ROD_REAR)
SOURCE_OF: Mapping[int, LoadSource] = {
    2: "damper",
    3: "damper",
    4: "ride height",
    5: "ride height",
    6: "push rod",
    7: "push rod",
}
AXLE_OF: Mapping[int, AxleEnd] = {kind: ("front", "rear")[kind % 2] for kind in LOAD_KINDS}
UNIT_OF: Mapping[int, Literal["N", "m"]] = {k: "m" if k in {4, 5} else "N" for k in LOAD_KINDS}
STEM = {"damper": "damper", "ride height": "ride_height", "push rod": "pushrod_load"}
HALF_WINDOW_S = 0.2  # a block of load is 0.4 s long


@dataclass(frozen=True, slots=True, eq=False)
class LoadSeries:
    """Block means of one source: node index, value [N or m], variance relative to a full block, (n,) each;
    half: only one side of the axle was there."""

    node: np.ndarray
    value: FloatArray
    weight: FloatArray
    half: bool


@dataclass(frozen=True, slots=True)
class StaticReading:
    """A source's reading on the standing car: run, clock on the run [s], value in the source's unit."""

    kind: int
    run: int
    time_s: float
    value: float


@dataclass(frozen=True, slots=True, eq=False)
class LoadChannel:
    """One source of one run, in its unit, away from the day's standing car."""

    signal: Signal
    half: bool


@dataclass(frozen=True, slots=True, eq=False)
class DayLoads:
    """Every usable source of a day: (run, kind) → channel; springs by axle; readings on the standing car."""

    channels: Mapping[tuple[int, int], LoadChannel]
    springs: Mapping[AxleEnd, AxleSpring | None]
    static: tuple[StaticReading, ...]

    @property
    def kinds(self) -> tuple[int, ...]:
        """Kinds of source that any run has, in order."""
        return tuple(k for k in LOAD_KINDS if any(kind == k for _, kind in self.channels))


def day_loads(day: Day, passes: Sequence[Pass], left_out: Mapping[int, frozenset[str]]) -> DayLoads:
    """Turn every run's suspension signals into axle loads and sinks.

    left_out: run → roles that must not be used.
    """
    springs = axle_springs(
        day.car, float(np.mean([run.driver_mass_kg.value for run in day.runs])) if day.runs else 75.0
    )
    channels: dict[tuple[int, int], LoadChannel] = {}
    static: list[StaticReading] = []
    for kind in LOAD_KINDS:
        axle = cast(Axle, getattr(day.car, AXLE_OF[kind]))
        raw = {run.number: _mean_signal(run, kind, left_out.get(run.number, frozenset())) for run in day.runs}
        found = {number: made for number, made in raw.items() if made is not None}
        rests = {n: _readings(made.signal, n, passes) for n, made in found.items()}
        level = _level(rests.values(), [made.signal for made in found.values()])
        for number, made in found.items():
            signal = _converted(made.signal, level, kind, axle, springs[AXLE_OF[kind]])
            if signal is None:
                continue
            channels[number, kind] = LoadChannel(signal, made.half)
            static += [StaticReading(kind, number, t, v) for t, v in _readings(signal, number, passes)]
    return DayLoads(channels, springs, tuple(static))


def load_series(loads: DayLoads, found: Pass, nodes: FloatArray) -> dict[int, LoadSeries]:
    """Block means about every second node of a pass, by kind."""
    series = {}
    for kind in LOAD_KINDS:
        channel = loads.channels.get((found.run, kind))
        if channel is not None and (blocks := _blocks(channel, nodes)) is not None:
            series[kind] = blocks
    return series


def _blocks(channel: LoadChannel, nodes: FloatArray) -> LoadSeries | None:
    signal = channel.signal
    at = np.arange(1, len(nodes), 2)
    low = np.searchsorted(signal.time_s, nodes[at] - HALF_WINDOW_S)
    high = np.searchsorted(signal.time_s, nodes[at] + HALF_WINDOW_S)
    total = np.concatenate([[0.0], np.cumsum(signal.values)])
    count = high - low
    full = count > 0
    if np.count_nonzero(full) < 4:
        return None
    usual = float(np.median(count[full]))
    full &= count >= 0.5 * usual
    count = count[full]
    mean = (total[high[full]] - total[low[full]]) / count
    return LoadSeries(at[full], mean, usual / count * (2.0 if channel.half else 1.0), channel.half)


@dataclass(frozen=True, slots=True, eq=False)
class _Raw:
    signal: Signal
    half: bool


def _mean_signal(run: Run, kind: int, left_out: frozenset[str]) -> _Raw | None:
    """Mean of left and right as logged; one side alone where the other is missing or may not be used."""
    from server.analysis.pass_data import merged_signals

    stem, end = STEM[SOURCE_OF[kind]], AXLE_OF[kind]
    signals = {role: s for role, s in merged_signals(run).items() if role not in left_out}
    whole = signals.get(f"{stem}_{end}")
    sides = [
        _without_spikes(signals[role], role) for role in (f"{stem}_{end[0]}l", f"{stem}_{end[0]}r") if role in signals
    ]
    sides = [side for side in sides if len(side.time_s) > 1]
    if whole is not None and len(sides) < 2:
        return _Raw(_without_spikes(whole, f"{stem}_{end}"), half=False)
    if not sides:
        return None
    if len(sides) == 1:
        return _Raw(sides[0], half=True)
    left, right = sides
    other = np.interp(left.time_s, right.time_s, right.values)
    return _Raw(Signal(left.time_s, 0.5 * (left.values + other), left.name), half=False)


def _without_spikes(signal: Signal, role: str) -> Signal:
    """The samples that are numbers and no spikes; a sensor that stands still is left alone: joints stick."""
    good = np.isfinite(signal.values)
    checks = checks_of(role)
    if checks is not None:
        time, values = signal.time_s[good], signal.values[good]
        good[good] &= ~find_spikes(time, values, checks.floor, checks.floor_per_s, checks.only_above)
    return signal if good.all() else Signal(signal.time_s[good], signal.values[good], signal.name)


def _readings(signal: Signal, run: int, passes: Sequence[Pass]) -> list[tuple[float, float]]:
    """(time, mean) over the settled part of each stretch of the run in which the car stood."""
    stands = [(p.start_s, p.end_s) for p in passes if p.kind == "zero" and p.run == run]
    found = [standing_reading("", signal, low, high) for low, high in stands]
    return [(reading.time_s, reading.value) for reading in found if reading is not None]


def _level(rests: Iterable[list[tuple[float, float]]], signals: Sequence[Signal]) -> float:
    """The day's reading of the standing car; without one, the median of all samples."""
    values = [value for readings in rests for _, value in readings]
    if values:
        return float(np.median(values))
    return float(np.median([np.median(s.values) for s in signals])) if signals else 0.0


def _converted(signal: Signal, level: float, kind: int, axle: Axle, spring: AxleSpring | None) -> Signal | None:
    """The source in its unit: axle load [N] or sink of the body at the sensor [m]."""
    change = signal.values - level
    source = SOURCE_OF[kind]
    if source == "push rod":
        ratio = axle.pushrod_ratio or PUSHROD_RATIO_DEFAULT
        return Signal(signal.time_s, 2.0 * ratio.value * change, signal.name)
    if spring is None:
        return None
    if source == "ride height":
        return Signal(signal.time_s, -change, signal.name)
    return Signal(signal.time_s, spring.force(wheel_of_damper(axle, change)), signal.name)


def own_count(kinds: Sequence[int]) -> int:
    """Columns that each pass has for itself: wind, scatter; per load source a zero and its drift; per axle what
    the joints have not turned at its beginning."""
    return 2 + 2 * len(kinds) + (2 if kinds else 0)


def kinds_of(passes: Sequence[Mapping[int, object]]) -> tuple[int, ...]:
    """Load kinds that any pass has, in order."""
    return tuple(k for k in LOAD_KINDS if any(k in each for each in passes))
