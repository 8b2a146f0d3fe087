"""Speeds held against each other and against what a car can do: lost sensors, wheels and sources apart."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from server.analysis.intervals import BoolArray, Intervals, bridged, lasting, where
from server.testday.values import Finding, FloatArray, Signal

MOVING_MPS = 3.0
LARGEST_MPS2 = 30.0
JUMP_MPS = 2.0
LONGEST_LOSS_S = 3.0
LEAST_LOSS = 3
GRID_S = 0.2
SLOWEST_S = 2.0
SETTLED_S = 1.0
LOST_SHARE = 0.3
LOST_FROM_MPS = 5.0
WHEELS_APART = 0.02
SOURCES_APART = 0.03
APART_MPS = 1.0
APART_SHARE = 0.08
APART_S = 2.0


def moving_of(signal: Signal) -> Intervals:
    """When a speed is above 3 m/s, gaps up to 3 s closed."""
    return bridged(where(signal.time_s, signal.values > MOVING_MPS), LONGEST_LOSS_S)


def left_out_of_speed(time_s: FloatArray, speed_mps: FloatArray) -> BoolArray:
    """Samples between a jump that no car makes and the jump back, up to 3 s apart; shape (n,).

    One or two samples are no loss but spikes, and left to `spikes`.
    """
    step = np.diff(speed_mps)
    limit = np.maximum(JUMP_MPS, LARGEST_MPS2 * np.diff(time_s))
    jumps = np.flatnonzero(np.abs(step) > limit)
    mask = np.zeros(len(time_s), dtype=bool)
    for away, back in pairwise(jumps):
        opposite = step[away] * step[back] < 0.0
        soon = time_s[back] - time_s[away] < LONGEST_LOSS_S and back - away >= LEAST_LOSS
        returns = abs(speed_mps[back + 1] - speed_mps[away]) < 0.5 * abs(step[away])
        if opposite and soon and returns and not mask[away]:
            mask[away + 1 : back + 1] = True
    return mask


def compare_speeds(run: int, speeds: Mapping[str, Signal], driven: str = "rear") -> tuple[Finding, ...]:
    """Findings on wheels that were lost and on speeds that disagree.

    speeds: role → signal, those renewed less than every two seconds are left out; driven: the driven wheels.
    """
    speeds = {role: signal for role, signal in speeds.items() if _quick(signal)}
    if len(speeds) < 2:
        return ()
    time, table = _on_one_grid(speeds)
    slipping = _slipping(driven)
    found = [*_lost(run, time, table), *_left_and_right(run, table, slipping)]
    return (*found, *_sources(run, time, table, slipping))


def _quick(signal: Signal) -> bool:
    return len(signal.time_s) >= 8 and float(np.median(np.diff(signal.time_s))) < SLOWEST_S


def _slipping(driven: str) -> tuple[str, ...]:
    ends = {"rear": ("rl", "rr"), "front": ("fl", "fr"), "all": ("fl", "fr", "rl", "rr")}[driven]
    return tuple(f"wheel_speed_{end}" for end in ends)


def _on_one_grid(speeds: Mapping[str, Signal]) -> tuple[FloatArray, dict[str, FloatArray]]:
    """All speeds on one clock, 0.2 s apart; NaN outside a speed's record."""
    start = min(float(s.time_s[0]) for s in speeds.values())
    end = max(float(s.time_s[-1]) for s in speeds.values())
    time = np.arange(start, end, GRID_S)
    table = {role: np.interp(time, s.time_s, s.values, left=np.nan, right=np.nan) for role, s in speeds.items()}
    return time, table


def _lost(run: int, time: FloatArray, table: Mapping[str, FloatArray]) -> list[Finding]:
    """Wheels that read far too little while the others turn, for over a second (locking is shorter)."""
    findings = []
    for role, speed in table.items():
        if len(table) == 2 and not role.startswith("wheel"):
            continue
        rest = [other for name, other in table.items() if name != role]
        reference = np.median(np.nan_to_num(np.vstack(rest)), axis=0)
        with np.errstate(invalid="ignore"):
            low = (reference > LOST_FROM_MPS) & (speed < LOST_SHARE * reference)
        gone = lasting(where(time, np.asarray(low)), SETTLED_S)
        if len(gone):
            total = float(np.sum(gone[:, 1] - gone[:, 0]))
            text = f"'{role}' reads far below the other speeds for {total:.1f} s, first at {gone[0, 0]:.1f} s."
            code = "wheel-speed-lost" if role.startswith("wheel") else "speed-lost"
            findings.append(Finding(code, "check", text, run, float(gone[0, 0]), float(gone[0, 1])))
    return findings


def lost_intervals(signal: Signal, reference: Signal) -> Intervals:
    """When a speed reads below 0.3 of another one that is above 5 m/s, a second or longer."""
    other = np.interp(signal.time_s, reference.time_s, reference.values)
    low = (other > LOST_FROM_MPS) & (signal.values < LOST_SHARE * other)
    return lasting(where(signal.time_s, low, reach=True), SETTLED_S)


def _left_and_right(run: int, table: Mapping[str, FloatArray], slipping: tuple[str, ...]) -> list[Finding]:
    """Wheels of one axle that differ by a constant share: radius, pressure or calibration."""
    findings = []
    for axle, ends in (("front", ("fl", "fr")), ("rear", ("rl", "rr"))):
        left, right = (table.get(f"wheel_speed_{end}") for end in ends)
        if left is None or right is None or f"wheel_speed_{ends[0]}" in slipping:
            continue
        ratio = _ratio(left, right)
        if ratio is not None and abs(ratio - 1.0) > WHEELS_APART:
            text = (
                f"The {axle} wheels' speeds differ by {100.0 * (ratio - 1.0):+.1f} % (left over right); "
                "look at tyre pressures, radii and the sensors' settings."
            )
            findings.append(Finding("wheels-disagree", "check", text, run))
    return findings


def _sources(run: int, time: FloatArray, table: Mapping[str, FloatArray], slipping: tuple[str, ...]) -> list[Finding]:
    """Satellite speed against the car's own: a scale far from one, or stretches far apart."""
    satellite = table.get("gps_speed")
    own = [speed for role, speed in table.items() if role != "gps_speed" and role not in slipping]
    own = own or [speed for role, speed in table.items() if role != "gps_speed"]
    if satellite is None or not own:
        return []
    wheel = np.max(np.vstack(own), axis=0)
    ratio = _ratio(wheel, satellite)
    if ratio is None:
        return []
    findings = []
    if abs(ratio - 1.0) > SOURCES_APART:
        text = (
            f"The car's own speed is {100.0 * (ratio - 1.0):+.1f} % off the satellite speed; "
            "its scale is fitted, but look at the rolling radius."
        )
        findings.append(Finding("speed-scale", "check", text, run))
    return findings + _far_apart(run, time, wheel / ratio, satellite)


def _far_apart(run: int, time: FloatArray, wheel: FloatArray, satellite: FloatArray) -> list[Finding]:
    with np.errstate(invalid="ignore"):
        apart = np.abs(wheel - satellite) > APART_MPS + APART_SHARE * np.maximum(wheel, satellite)
    stretches = lasting(where(time, np.asarray(apart)), APART_S)
    if len(stretches) == 0:
        return []
    total = float(np.sum(stretches[:, 1] - stretches[:, 0]))
    text = (
        f"Satellite speed and the car's own lie apart for {total:.1f} s, first at {stretches[0, 0]:.1f} s; "
        "one of them was late, lost or frozen there."
    )
    start, end = float(stretches[0, 0]), float(stretches[0, 1])
    return [Finding("speeds-disagree", "check", text, run, start, end)]


def _ratio(a: FloatArray, b: FloatArray) -> float | None:
    """Median of a / b while both move; None where they hardly do."""
    with np.errstate(invalid="ignore"):
        both = (a > LOST_FROM_MPS) & (b > LOST_FROM_MPS)
    if np.count_nonzero(both) < 25:
        return None
    return float(np.median(a[both] / b[both]))
