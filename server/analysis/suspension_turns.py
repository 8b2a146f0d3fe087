"""Left and right of an axle exchanged: in turns the outer side is pressed, at both axles alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.intervals import inside, runs_of
from server.analysis.result import LoadSource
from server.analysis.suspension_sensors import ENDS, CarLoads, Sensor
from server.analysis.suspension_trace import STEP_S, DriveTrace
from server.analysis.turning import track
from server.testday.values import FloatArray

LEAST_LATERAL_MPS2 = 0.7
LEAST_TURN_S = 1.0
BESIDE_S = 3.0
LEAST_WHEEL_M = 0.0006
LEAST_TURNS = 2
SURE = 4.0
CHORD_S = 2.0
LEAST_CHORD_M = 1.5


@dataclass(frozen=True, slots=True)
class Roll:
    """How far left is pressed more than right of a pair, per m/s² to the left (+), with u; turns: how many.

    sure_way: whether the side of the turns is certain (heading or position, not a rate's sign).
    """

    source: LoadSource
    axle: str
    slope: float
    u: float
    turns: int
    sure_way: bool

    @property
    def told(self) -> bool:
        """Whether the pair rolls beyond doubt."""
        return self.turns >= LEAST_TURNS and abs(self.slope) > SURE * self.u


def rolls(traces: Sequence[DriveTrace], pairs: Mapping[tuple[LoadSource, str], CarLoads]) -> list[Roll]:
    """Roll of every pair of sensors over all turns of a day; pairs: (source, axle) whose two sides may be used."""
    found: dict[tuple[LoadSource, str], list[tuple[float, float]]] = {}
    sure = True
    for trace in traces:
        lateral = to_the_left(trace)
        if lateral is None:
            continue
        sure &= lateral[1]
        for key, loads in pairs.items():
            difference = _difference(trace, key)
            if difference is not None:
                found.setdefault(key, []).extend(_turns(trace, lateral[0], difference, _least(trace, key, loads)))
    return [_roll(key, turns, sure) for key, turns in found.items()]


def to_the_left(trace: DriveTrace) -> tuple[FloatArray, bool] | None:
    """Acceleration to the left [m/s²] on the grid and whether its side is certain; None without a channel.

    Heading and position tell the side for certain; yaw rate and lateral acceleration are taken as ISO 8855
    signs them (positive in a turn to the left).
    """
    rate = _turning_rate(trace)
    if rate is not None:
        return np.asarray(-rate * trace.speed_mps), True
    other = trace.lateral()
    return None if other is None else (np.interp(trace.time_s, *other), False)


def _turning_rate(trace: DriveTrace) -> FloatArray | None:
    """Rate of the course [rad/s], clockwise from above, on the grid; 0 where nothing tells it."""
    heading, half = trace.signals.get("heading"), 0.5 * CHORD_S
    before, after = trace.time_s - half, trace.time_s + half
    if heading is not None and len(heading.time_s) >= 5:
        angle = np.unwrap(heading.values)
        turned = np.interp(after, heading.time_s, angle) - np.interp(before, heading.time_s, angle)
        return np.asarray(turned / CHORD_S)
    place = track(trace.signals)
    if place is None or float(np.median(np.diff(place[0]))) > 0.5 * CHORD_S:
        return None
    steps = [[np.interp(t, place[0], axis) for axis in place[1:]] for t in (before, trace.time_s, after)]
    first, second = (np.array(steps[k + 1]) - np.array(steps[k]) for k in range(2))
    cross = first[1] * second[0] - first[0] * second[1]
    turned = np.arctan2(cross, np.sum(first * second, axis=0))
    far = np.minimum(np.hypot(*first), np.hypot(*second)) > LEAST_CHORD_M
    return np.asarray(np.where(far, turned / half, 0.0))


def exchanged_pairs(found: Sequence[Roll]) -> list[tuple[LoadSource, tuple[str, ...], str]]:
    """Kinds and axles whose sides are exchanged, and what told it: 'turns' or 'each other' (then either one)."""
    named: list[tuple[LoadSource, tuple[str, ...], str]] = []
    for source in dict.fromkeys(roll.source for roll in found):
        told = {roll.axle: roll for roll in found if roll.source == source and roll.told}
        wrong = [axle for axle, roll in told.items() if roll.slope > 0.0]
        if any(roll.sure_way for roll in told.values()):
            named += [(source, (axle,), "turns") for axle in wrong]
        elif len(told) == 2 and len(wrong) == 1:
            named.append((source, ENDS, "each other"))
        elif len(told) == 1 and wrong:
            named.append((source, (wrong[0],), "rate"))
    return named


def _difference(trace: DriveTrace, key: tuple[LoadSource, str]) -> FloatArray | None:
    """Left less right, positive when left is pressed more."""
    pair = _pair(trace, key)
    if len(pair) < 2:
        return None
    sign = -1.0 if key[0] == "ride height" else 1.0
    return sign * (trace.readings[pair["left"].role] - trace.readings[pair["right"].role])


def _pair(trace: DriveTrace, key: tuple[LoadSource, str]) -> dict[str, Sensor]:
    return {s.side: s for s in trace.sensors if (s.source, s.axle) == key and s.side != "whole"}


def _least(trace: DriveTrace, key: tuple[LoadSource, str], loads: CarLoads) -> float:
    return loads.least_move(_pair(trace, key)["left"], LEAST_WHEEL_M)


def _turns(trace: DriveTrace, lateral: FloatArray, difference: FloatArray, least: float) -> list[tuple[float, float]]:
    """(acceleration to the left, difference less that of straight running beside it) of every turn."""
    bent = (np.abs(lateral) > LEAST_LATERAL_MPS2) & (trace.speed_mps > 1.5)
    near, found = round(BESIDE_S / STEP_S), []
    for first, last in runs_of(bent):
        if (last - first) * STEP_S < LEAST_TURN_S or np.sign(lateral[first]) != np.sign(lateral[last]):
            continue
        beside = np.r_[max(0, first - near) : max(0, first - 5), last + 6 : min(len(bent), last + near)]
        beside = beside[~bent[beside] & ~inside(trace.time_s[beside], trace.turning)]
        outside, within = difference[beside], difference[first : last + 1]
        if np.count_nonzero(np.isfinite(outside)) < 10 or np.count_nonzero(np.isfinite(within)) < 5:
            continue
        moved = float(np.nanmean(within) - np.nanmean(outside))
        found.append((float(np.mean(lateral[first : last + 1])), moved if abs(moved) > least else 0.0))
    return found


def _roll(key: tuple[LoadSource, str], turns: Sequence[tuple[float, float]], sure: bool) -> Roll:
    if len(turns) < LEAST_TURNS:
        return Roll(*key, 0.0, 1.0, len(turns), sure)
    a, moved = np.array(turns).T
    slope = float(a @ moved) / float(a @ a)
    left = moved - slope * a
    u = float(np.sqrt(left @ left / (len(a) - 1) / (a @ a)))
    return Roll(*key, slope, max(u, 0.1 * abs(slope)), len(turns), sure)
