"""A pass as the fit sees it: block means of its speeds on an even grid, and where and when it was.

Block averaging keeps what a coast-down holds (it bends slowly: the error of a block mean is h²/24 · d²v/dt²,
below 1 mm/s at 0.2 s) and turns tooth quantisation and once-per-turn error into nearly white noise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.polynomial import Chebyshev

from server.analysis.load_data import DayLoads, LoadSeries, load_series
from server.analysis.result import Pass
from server.testday.values import Car, Day, FloatArray, Quantity, Recording, Run, Signal

BLOCK_S = 0.2
WHEEL, SATELLITE = 0, 1
SPEEDOMETER = 8  # behind the kinds of load sensors
AIR = 9  # air speed measured on the car
SCALE_SPEED_MPS = 20.0  # where the growth of the wheel-speed scale is zero
EARTH_RADIUS_M = 6_371_008.8  # mean radius, IUGG


@dataclass(frozen=True, slots=True, eq=False)
class BlockSeries:
    """Block means of one sensor: node index, mean value, sample time less node time [s],
    and samples in the block relative to a full one. Shape (n,) each."""

    node: np.ndarray
    value: FloatArray
    lead_s: FloatArray
    share: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PassData:
    """One used pass on its grid of nodes, `BLOCK_S` apart.

    time_s: nodes on the run's clock, (n,); path: smooth speed used to linearise [m/s];
    position_m: distance along 'out' at the nodes where positions were logged, else None.
    clock_s: seconds after midnight of the pass's middle; since_start_s: running time before it.
    loads: suspension sensors by kind; air: air speed measured on the car.
    """

    of: Pass
    mass_kg: float
    driver_mass_kg: Quantity
    clock_s: float
    since_start_s: float
    time_s: FloatArray
    path: Chebyshev
    series: Mapping[int, BlockSeries]
    position_m: FloatArray | None = None
    loads: Mapping[int, LoadSeries] = field(default_factory=dict)
    air: BlockSeries | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where distances along the straight are counted from, and the true heading of 'out' [rad]."""

    latitude_rad: float
    longitude_rad: float
    heading_rad: float


def day_origin(day: Day) -> Place | None:
    """The middle of the first run with positions; None without positions or without a heading."""
    if day.venue.heading_rad is None:
        return None
    for run in day.runs:
        signals = merged_signals(run)
        if "latitude" in signals and "longitude" in signals and len(signals["longitude"].values):
            middle = [float(np.nanmedian(signals[role].values)) for role in ("latitude", "longitude")]
            return Place(middle[0], middle[1], day.venue.heading_rad)
    return None


def merged_signals(run: Run) -> dict[str, Signal]:
    """Role → signal over all recordings of a run; the first recording that has a role gives it."""
    signals: dict[str, Signal] = {}
    for recording in run.recordings:
        for role, signal in recording.signals.items():
            signals.setdefault(role, signal)
    return signals


def wheel_roles(car: Car, signals: Mapping[str, Signal]) -> tuple[str, ...]:
    """The roles whose mean is the wheel speed: undriven wheels, else the car's own speed, else driven."""
    axles = {"rear": ("fl", "fr"), "front": ("rl", "rr"), "all": ()}[car.driven]
    undriven = tuple(f"wheel_speed_{w}" for w in axles if f"wheel_speed_{w}" in signals)
    if undriven:
        return undriven
    if "vehicle_speed" in signals:
        return ("vehicle_speed",)
    return tuple(role for role in sorted(signals) if role.startswith("wheel_speed_"))


def build_pass(run: Run, found: Pass, day: Day, origin: Place | None, loads: DayLoads | None = None) -> PassData | None:
    """Block means of a pass's speeds and loads; None where fewer than eight blocks hold a speed.

    origin: where distances along the straight are counted from, one for the day.
    """
    signals = merged_signals(run)
    nodes = np.arange(found.start_s + 0.5 * BLOCK_S, found.end_s - 0.499 * BLOCK_S, BLOCK_S)
    series: dict[int, BlockSeries] = {}
    wheels = [_blocks(signals[role], found.start_s, nodes) for role in wheel_roles(day.car, signals)]
    wheel = _mean_blocks([w for w in wheels if w is not None])
    if wheel is not None:
        series[WHEEL] = wheel
    if "gps_speed" in signals:
        satellite = _blocks(signals["gps_speed"], found.start_s, nodes)
        if satellite is not None:
            series[SATELLITE] = satellite
    if not series or len(nodes) < 8:
        return None
    leader = series.get(WHEEL, series.get(SATELLITE))
    if leader is None or len(leader.node) < 8:
        return None
    path = smooth_path(nodes[leader.node] + leader.lead_s, leader.value, nodes)
    start_clock = run_clock_zero(run)
    return PassData(
        of=found,
        mass_kg=day.car.mass_kg.value + run.driver_mass_kg.value,
        driver_mass_kg=run.driver_mass_kg,
        clock_s=start_clock + 0.5 * (found.start_s + found.end_s),
        since_start_s=max(0.0, found.start_s - _first_time(signals)),
        time_s=nodes,
        path=path,
        series=series,
        position_m=_positions(signals, nodes, path, origin),
        loads=load_series(loads, found, nodes) if loads is not None else {},
        air=_blocks(signals["airspeed"], found.start_s, nodes) if "airspeed" in signals else None,
    )


def run_clock_zero(run: Run) -> float:
    """Local clock of the run clock's zero [s after midnight]; a run without any takes half an hour a run."""
    for recording in run.recordings:
        if recording.start_clock_s is not None:
            return recording.start_clock_s
    if run.start_clock_s is not None:
        return run.start_clock_s - _first_time_of(run.recordings)
    return 36_000.0 + 600.0 * run.number


def smooth_path(time_s: FloatArray, speed_mps: FloatArray, nodes: FloatArray) -> Chebyshev:
    """A smooth speed over the pass: a Chebyshev polynomial, one degree per 2.5 s, at most 9."""
    span = float(nodes[-1] - nodes[0])
    degree = int(np.clip(span / 2.5, 2, min(9, len(speed_mps) // 3)))
    domain = [float(nodes[0]) - 0.5 * BLOCK_S, float(nodes[-1]) + 0.5 * BLOCK_S]
    return Chebyshev.fit(time_s, speed_mps, degree, domain=domain)


def _blocks(signal: Signal, start_s: float, nodes: FloatArray) -> BlockSeries | None:
    low, high = np.searchsorted(signal.time_s, [start_s, nodes[-1] + 0.5 * BLOCK_S]) if len(nodes) else (0, 0)
    time, values = signal.time_s[low:high], signal.values[low:high]
    good = np.isfinite(values)
    time, values = time[good], values[good]
    if len(time) == 0:
        return None
    index = np.clip(((time - start_s) / BLOCK_S).astype(np.int64), 0, len(nodes) - 1)
    count = np.bincount(index, minlength=len(nodes))
    full = count > 0
    mean = np.bincount(index, values, len(nodes))[full] / count[full]
    lead = np.bincount(index, time, len(nodes))[full] / count[full] - nodes[full]
    return BlockSeries(np.flatnonzero(full), mean, lead, count[full] / np.median(count[full]))


def _mean_blocks(parts: Sequence[BlockSeries]) -> BlockSeries | None:
    if not parts:
        return None
    if len(parts) == 1:
        return parts[0]
    shared = parts[0].node
    for part in parts[1:]:
        shared = np.intersect1d(shared, part.node)
    if len(shared) < 0.5 * len(parts[0].node):
        return max(parts, key=lambda part: len(part.node))
    picks = [np.searchsorted(part.node, shared) for part in parts]
    value = np.mean([p.value[i] for p, i in zip(parts, picks, strict=True)], axis=0)
    lead = np.mean([p.lead_s[i] for p, i in zip(parts, picks, strict=True)], axis=0)
    share = np.mean([p.share[i] for p, i in zip(parts, picks, strict=True)], axis=0)
    return BlockSeries(shared, value, lead, share)


def _positions(
    signals: Mapping[str, Signal], nodes: FloatArray, path: Chebyshev, origin: Place | None
) -> FloatArray | None:
    """Distance along 'out' [m]: the shape from the speed, the place from latitude and longitude."""
    if origin is None or "latitude" not in signals or "longitude" not in signals:
        return None
    latitude, longitude = signals["latitude"], signals["longitude"]
    inside = (latitude.time_s >= nodes[0]) & (latitude.time_s <= nodes[-1])
    if np.count_nonzero(inside) < 4:
        return None
    time = latitude.time_s[inside]
    turned = np.interp(time, longitude.time_s, longitude.values) - origin.longitude_rad
    north = (latitude.values[inside] - origin.latitude_rad) * EARTH_RADIUS_M
    east = np.angle(np.exp(1j * turned)) * EARTH_RADIUS_M * np.cos(origin.latitude_rad)
    along = north * np.cos(origin.heading_rad) + east * np.sin(origin.heading_rad)
    direction = 1.0 if along[-1] >= along[0] else -1.0
    travelled = path.integ()
    run_m = direction * (travelled(nodes) - travelled(nodes[0]))
    offset = float(np.median(along - direction * (travelled(time) - travelled(nodes[0]))))
    return np.asarray(offset + run_m)


def _first_time(signals: Mapping[str, Signal]) -> float:
    return min((float(s.time_s[0]) for s in signals.values() if len(s.time_s)), default=0.0)


def _first_time_of(recordings: Sequence[Recording]) -> float:
    return min((_first_time(r.signals) for r in recordings), default=0.0)
