"""The speed of a run over time from the samples' pyramid, and what stretches that no fit used resisted with."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock

import numpy as np

from server.aero.road_load import effective_mass
from server.analysis.result import Pass
from server.archive.archive import Archive
from server.archive.samples import KeptChannel
from server.archive.samples_trace import Trace
from server.errors import NotFoundError
from server.figures.run_values import ChannelTrace, TurnedDown
from server.runs.columns import with_recordings
from server.runs.recordings import RunLog
from server.testday.values import Car, Day, FloatArray, Run, Signal

MPS_TO_KMH = 3.6
MOST_POINTS, MOST_POINTS_SMALL = 2000, 700
BLOCK_S = 0.5
LEADS_IN_MEMORY = 16
FEWEST_BLOCKS = 3


@dataclass(frozen=True, slots=True, eq=False)
class LeadSpeed:
    """The speed that led the finding of passes. place: of its log in the run; reading · gain + offset is in m/s."""

    place: int
    position: int
    column: str
    gain: float
    offset: float
    signal: Signal


class Leads:
    """The leading speeds of the last few runs."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, LeadSpeed | None] = OrderedDict()
        self._lock = Lock()

    def of(self, archive: Archive, logs: tuple[RunLog, ...], day: Day, run: Run) -> LeadSpeed | None:
        """None where the logs tell no speed."""
        key = f"{[one.key for one in logs]} {run.logs} {day.channels} {run.channels} {day.car}"
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        lead = _lead(archive, logs, day, run)
        with self._lock:
            self._held[key] = lead
            while len(self._held) > LEADS_IN_MEMORY:
                self._held.popitem(last=False)
        return lead


def _lead(archive: Archive, logs: tuple[RunLog, ...], day: Day, run: Run) -> LeadSpeed | None:
    joined = with_recordings(archive, logs, day, run)
    from server.analysis.speed_pick import pick_speed  # brings scipy, which the first page can do without

    source = pick_speed(joined, day.car)
    if source is None:
        return None
    role = source.roles[0]
    having = [(len(r.signals[role].time_s), n) for n, r in enumerate(joined.recordings) if role in r.signals]
    place = max(having)[1]
    signal = joined.recordings[place].signals[role]
    kept = next(one for one in archive.samples.channels(logs[place].key) if one.name == signal.name)
    time_s, values = archive.samples.samples(logs[place].key, kept.position)
    gain, offset = _scale(time_s + logs[place].log.clock_offset_s, values, signal)
    return LeadSpeed(place, kept.position, signal.name, gain, offset, source.signal)


def _scale(time_s: FloatArray, values: FloatArray, signal: Signal) -> tuple[float, float]:
    """Gain and offset that take readings to SI, told by the slowest and the fastest of them."""
    low, high = int(np.argmin(signal.values)), int(np.argmax(signal.values))
    at = np.searchsorted(time_s, signal.time_s[[low, high]] - 1e-9)
    raw = values[np.minimum(at, len(values) - 1)]
    if raw[0] == raw[1]:
        return 1.0, float(signal.values[low] - raw[0])
    gain = float((signal.values[high] - signal.values[low]) / (raw[1] - raw[0]))
    return gain, float(signal.values[low] - gain * raw[0])


def speed_trace(
    archive: Archive, logs: tuple[RunLog, ...], lead: LeadSpeed, window: Window, narrow: bool
) -> ChannelTrace:
    """The leading speed in km/h over a window of the run's clock."""
    one = logs[lead.place]
    trace = _trace(archive, one, lead.position, window, narrow)
    ends = [MPS_TO_KMH * (lead.gain * side + lead.offset) for side in (trace.low, trace.high)]
    words = (f"speed by {lead.column}", "km/h")
    return _moved(trace, one, words, np.fmin(*ends), np.fmax(*ends))


def channel_trace(archive: Archive, one: RunLog, name: str, window: Window, narrow: bool) -> ChannelTrace:
    """Any channel in its own unit over a window of the run's clock. Raises NotFoundError."""
    trace = _trace(archive, one, find_column(archive, one, name).position, window, narrow)
    return _moved(trace, one, (trace.name, trace.unit), trace.low, trace.high)


def find_column(archive: Archive, one: RunLog, name: str) -> KeptChannel:
    """A column of a log by its name. Raises NotFoundError."""
    for kept in archive.samples.channels(one.key):
        if kept.name == name:
            return kept
    raise NotFoundError(f"{one.log.file} has no column “{name[:60]}”.")


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of the run's clock [s]; None: from its first sample, to its last."""

    from_s: float | None = None
    to_s: float | None = None


def run_span(archive: Archive, logs: tuple[RunLog, ...]) -> tuple[float, float] | None:
    """First and last time [s] of the run's clock that its logs tell of."""
    ends = [
        (max(first, kept.first_s), min(last, kept.last_s), one.log.clock_offset_s)
        for one in logs
        for first, last in [_cut(one)]
        for kept in archive.samples.channels(one.key)
        if kept.first_s is not None and kept.last_s is not None
    ]
    if not ends:
        return None
    return min(first + offset for first, _, offset in ends), max(last + offset for _, last, offset in ends)


def _cut(one: RunLog) -> tuple[float, float]:
    """The part of the file that is used, on the file's clock."""
    low, high = one.log.from_s, one.log.to_s
    return -np.inf if low is None else low, np.inf if high is None else high


def _trace(archive: Archive, one: RunLog, position: int, window: Window, narrow: bool) -> Trace:
    first, last = _cut(one)
    offset = one.log.clock_offset_s
    start = first if window.from_s is None else max(first, window.from_s - offset)
    end = last if window.to_s is None else min(last, window.to_s - offset)
    ends = (None if np.isinf(start) else start, None if np.isinf(end) else end)
    return archive.samples.trace(one.key, position, *ends, MOST_POINTS_SMALL if narrow else MOST_POINTS)


def _moved(
    trace: Trace, one: RunLog, words: tuple[str, str | None], low: FloatArray, high: FloatArray
) -> ChannelTrace:
    """The trace on the run's clock; words: its name and unit."""
    offset = one.log.clock_offset_s
    return ChannelTrace(*words, trace.first_s + offset, trace.last_s + offset, low, high)


def turned_down(passes: Sequence[Pass], lead: LeadSpeed, car: Car, driver_kg: float) -> tuple[TurnedDown, ...]:
    """What each coast-down that was turned down resisted with, by the speed as logged: R = −m_e dv/dt."""
    inertia = [axle.axle_inertia_kgm2.value for axle in (car.front, car.rear)]
    radius = [axle.tyre_radius_m.value for axle in (car.front, car.rear)]
    mass = float(effective_mass(car.mass_kg.value + driver_kg, inertia, radius))
    found = (_resisted(one, lead.signal, mass) for one in passes if one.kind == "coast-down" and not one.used)
    return tuple(one for one in found if one is not None)


def _resisted(of: Pass, signal: Signal, mass_kg: float) -> TurnedDown | None:
    inside = (signal.time_s >= of.start_s) & (signal.time_s <= of.end_s)
    time_s, speed = signal.time_s[inside], signal.values[inside]
    block = np.floor((time_s - of.start_s) / BLOCK_S).astype(int) if len(time_s) else np.empty(0, int)
    numbers = np.unique(block)
    if len(numbers) < FEWEST_BLOCKS:
        return None
    mean_t = np.array([time_s[block == n].mean() for n in numbers])
    mean_v = np.array([speed[block == n].mean() for n in numbers])
    middle = 0.5 * (mean_v[1:] + mean_v[:-1])
    return TurnedDown(of, middle, -mass_kg * np.diff(mean_v) / np.diff(mean_t))
