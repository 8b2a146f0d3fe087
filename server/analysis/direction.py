"""Which way a pass went: by heading, else track, else turns counted by yaw rate, else the run sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.pass_options import PassOptions
from server.analysis.result import Pass
from server.analysis.speed_pick import best_signals, pick_speed
from server.analysis.speed_series import SpeedSeries, speed_series
from server.analysis.turning import course, offset, track
from server.testday.values import Car, Finding, FloatArray, Run, Signal

ALONG = np.cos(np.radians(45.0))
FAST_SHARE = 0.6
LEAST_TRAVEL_M = 15.0


@dataclass(frozen=True, slots=True)
class Directed:
    """Passes with their direction, and what is to be said of it."""

    passes: tuple[Pass, ...]
    findings: tuple[Finding, ...] = ()


def with_directions(
    passes: Sequence[Pass],
    run: Run,
    signals: Mapping[str, Signal],
    series: SpeedSeries,
    heading_rad: float | None,
) -> Directed:
    """Give every pass that moves its direction: +1 along heading_rad ('out'), −1 against it, 0 unknown.

    heading_rad: true heading of the straight [rad], None where the venue doesn't tell.
    """
    moving = [p for p in passes if p.kind != "zero"]
    if not moving:
        return Directed(tuple(passes))
    found, place = course(signals, series), track(signals)
    courses = [pass_course(p, found, place) for p in moving]
    if any(angle is not None for angle in courses):
        signs, findings = _by_course(moving, courses, run, heading_rad)
    elif (turned := _turned(moving, signals, series)) is not None:
        signs, findings = _by_turns(turned, run)
    else:
        signs, findings = _by_word(moving, run)
    table = {id(p): sign for p, sign in zip(moving, signs, strict=True)}
    return Directed(tuple(replace(p, direction=table.get(id(p), 0)) for p in passes), findings)


def straight_heading(runs: Sequence[Run], car: Car, options: PassOptions | None = None) -> float | None:
    """True heading of a day's straight [rad] from its fast stretches; 'out' is what the first run that has a
    direction on its sheet says of its first fast stretch, else the way of the day's first one.

    The axis is the mean of the doubled course angle; None where no run tells a course.
    """
    gap = (options or PassOptions()).max_gap_s
    found = [(run, angles) for run in runs if len(angles := _fast_courses(run, car, gap))]
    if not found:
        return None
    doubled = np.mean(np.exp(2j * np.concatenate([angles for _, angles in found])))
    axis = 0.5 * float(np.angle(doubled))
    first, angles = next((pair for pair in found if pair[0].direction), found[0])
    way = 1.0 if np.cos(angles[0] - axis) >= 0.0 else -1.0
    if first.direction == "back":
        way = -way
    return float((axis + (0.0 if way > 0 else np.pi)) % (2.0 * np.pi))


def _fast_courses(run: Run, car: Car, gap_s: float) -> FloatArray:
    source = pick_speed(run, car)
    if source is None:
        return np.zeros(0)
    series = speed_series(source.signal, gap_s)
    found = course(best_signals(run), series)
    if found is None:
        return np.zeros(0)
    time, angle = found
    return np.asarray(angle[series.at(time) > FAST_SHARE * float(np.max(series.block_mps))])


def pass_course(
    one: Pass,
    found: tuple[FloatArray, FloatArray] | None,
    place: tuple[FloatArray, FloatArray, FloatArray] | None,
) -> float | None:
    """Mean course of a pass [rad], from the run's course (time, angle) or its track (time, east, north)."""
    if found is not None:
        inside = (found[0] >= one.start_s) & (found[0] <= one.end_s)
        if inside.any():
            return float(np.angle(np.mean(np.exp(1j * found[1][inside]))))
    if place is None:
        return None
    ends = np.array([one.start_s, one.end_s])
    dx, dy = (float(np.diff(np.interp(ends, place[0], axis))[0]) for axis in place[1:])
    return float(np.arctan2(dx, dy)) if np.hypot(dx, dy) > LEAST_TRAVEL_M else None


def _by_course(
    passes: Sequence[Pass], courses: Sequence[float | None], run: Run, heading_rad: float | None
) -> tuple[list[int], tuple[Finding, ...]]:
    findings: list[Finding] = []
    out = heading_rad
    if out is None:
        out = next(angle for angle in courses if angle is not None)
        text = (
            f"The straight's heading is not given: the first pass of run {run.number} "
            f"({np.degrees(out) % 360.0:.0f}°) is taken as 'out'."
        )
        findings.append(Finding("direction-assumed", "check", text, run.number))
    signs = [0 if angle is None else _sign(float(np.cos(angle - out))) for angle in courses]
    astray = [p for p, angle, s in zip(passes, courses, signs, strict=True) if s == 0 and angle is not None]
    if any(p.used for p in astray):
        first = next(p for p in astray if p.used)
        text = f"The pass at {first.start_s:.1f} s does not follow the straight's heading; its direction is unknown."
        findings.append(Finding("off-straight", "check", text, run.number, first.start_s, first.end_s))
    return signs, tuple(findings)


def _sign(along: float) -> int:
    return 1 if along > ALONG else -1 if along < -ALONG else 0


def _turned(passes: Sequence[Pass], signals: Mapping[str, Signal], series: SpeedSeries) -> list[float] | None:
    """Angle turned since the first pass [rad], by the yaw rate less what it reads on the straight."""
    yaw = signals.get("yaw_rate")
    if yaw is None or len(yaw.time_s) < 5 or len(passes) < 2:
        return None
    rate = yaw.values - offset(yaw, series)
    step = np.diff(yaw.time_s)
    angle = np.concatenate([[0.0], np.cumsum(0.5 * step * (rate[1:] + rate[:-1]))])
    middles = np.array([0.5 * (p.start_s + p.end_s) for p in passes])
    at = np.interp(middles, yaw.time_s, angle)
    return [float(a) for a in at - at[0]]


def _by_turns(turned: Sequence[float], run: Run) -> tuple[list[int], tuple[Finding, ...]]:
    first = -1 if run.direction == "back" else 1
    signs = [first * _sign(float(np.cos(angle))) for angle in turned]
    if run.direction is not None:
        return signs, ()
    text = (
        f"Only the turns tell the direction of run {run.number}: its first pass is taken as 'out'. "
        "Give the run's direction if it went back."
    )
    return signs, (Finding("direction-assumed", "check", text, run.number),)


def _by_word(passes: Sequence[Pass], run: Run) -> tuple[list[int], tuple[Finding, ...]]:
    coasts = sum(p.used and p.kind == "coast-down" for p in passes)
    if run.direction is None:
        text = f"Nothing tells which way the passes of run {run.number} went; give the run's direction."
        return [0] * len(passes), (Finding("direction-unknown", "check", text, run.number),) if coasts else ()
    sign = 1 if run.direction == "out" else -1
    if coasts < 2:
        return [sign] * len(passes), ()
    text = (
        f"Run {run.number} holds {coasts} coast-downs and only the run sheet tells their direction: all are "
        f"taken as '{run.direction}'. Log heading, position or yaw rate, or give each its own run."
    )
    return [sign] * len(passes), (Finding("direction-by-word", "check", text, run.number),)
