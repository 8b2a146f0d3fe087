"""Stretches that may be coast-downs, cut and trimmed by what bounds them, with a cause at both ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.coast_edges import Cause, Stretch
from server.analysis.coasting import coasts_in_speed
from server.analysis.coasting_band import CoastingBand
from server.analysis.driver import Driver
from server.analysis.intervals import Intervals, complement, join, no_intervals, where, without
from server.analysis.pass_options import PassOptions
from server.analysis.speed_series import SpeedSeries
from server.testday.values import Coasting

TOUCH_S = 1e-6
WORDS_THAT_FREE = ("clutch", "inverter-off", "zero-torque")
WORDS_THAT_PART = ("neutral", "clutch")  # the motor is parted from the wheels, whatever its torque
MOVING_MPS = 2.0
AFTER_TURN_S = 0.3


@dataclass(frozen=True, slots=True)
class Bound:
    """Something that ends a stretch: the causes it gives to an end before it and to a start after it."""

    when: Intervals
    ends_by: Cause
    starts_by: Cause
    seen: bool = True


def drive_bounds(driver: Driver) -> list[Bound]:
    """Throttle, brake and motor torque; a throttle that the free driveline makes idle counts for nothing."""
    idle = driver.free if driver.free is not None else no_intervals()
    bounds = []
    if driver.throttle is not None:
        bounds.append(Bound(without(driver.throttle, idle), "throttle", "lift"))
    if driver.brake is not None:
        bounds.append(Bound(driver.brake, "brake", "brake released"))
    if driver.pushing is not None:
        bounds.append(Bound(without(driver.pushing, idle), "throttle", "lift"))
    return bounds


def engaged_when(driver: Driver, coasting: Coasting) -> Intervals:
    """When the driveline brakes the car: by torque, else in gear and not freed by the run sheet's word."""
    if driver.regenerating is not None and coasting not in WORDS_THAT_PART:
        idle = driver.free if driver.free is not None else no_intervals()
        return without(driver.regenerating, idle)
    if driver.engaged is None or (coasting in WORDS_THAT_FREE and not driver.clutch_told):
        return no_intervals()
    return driver.engaged


def undriven(series: SpeedSeries, driver: Driver, band: CoastingBand) -> list[Stretch]:
    """Stretches without drive and brake: by the channels where they tell, by the speed where they don't."""
    bounds = drive_bounds(driver)
    if driver.drive_seen and driver.brake is not None:
        moving = where(series.block_s, series.block_mps > MOVING_MPS, reach=True)
        stretches = [Stretch(float(a), float(b), "record", "record", True, True) for a, b in moving]
    else:
        stretches = coasts_in_speed(series, band)
    return cut_by(stretches, bounds)


def cut_by(stretches: Sequence[Stretch], bounds: Sequence[Bound]) -> list[Stretch]:
    """What of the stretches lies outside the bounds, with the causes that the bounds give to new ends."""
    blocked = join(*(bound.when for bound in bounds))
    parts: list[Stretch] = []
    for stretch in stretches:
        for start, end in complement(blocked, stretch.start_s, stretch.end_s).tolist():
            parts.append(_named(replace(stretch, start_s=start, end_s=end), stretch, bounds))
    return parts


def _named(part: Stretch, whole: Stretch, bounds: Sequence[Bound]) -> Stretch:
    for bound in bounds:
        if part.start_s > whole.start_s or not whole.start_seen:
            touched = np.any(np.abs(bound.when[:, 1] - part.start_s) < TOUCH_S)
            part = replace(part, start_cause=bound.starts_by, start_seen=bound.seen) if touched else part
        if part.end_s < whole.end_s or not whole.end_seen:
            touched = np.any(np.abs(bound.when[:, 0] - part.end_s) < TOUCH_S)
            part = replace(part, end_cause=bound.ends_by, end_seen=bound.seen) if touched else part
    return part


def trimmed(stretch: Stretch, series: SpeedSeries, options: PassOptions) -> Stretch:
    """The stretch without what is left out after its start and before its end; it may come out empty."""
    slow = 0.5 * max(0.0, series.period_s - 0.2)
    start, end = 0.0, 0.0
    if stretch.start_cause in ("lift", "brake released", "driveline"):
        start = options.trim_after_lift_s + (0.0 if stretch.start_seen else slow)
    elif stretch.start_cause == "turn":
        start = AFTER_TURN_S
    if stretch.end_cause in ("throttle", "brake", "driveline", "turn"):
        end = options.trim_before_end_s
        end += 0.0 if stretch.end_seen else options.trim_unseen_end_s + slow
    return replace(stretch, start_s=stretch.start_s + start, end_s=stretch.end_s - end)


def above_speed(stretch: Stretch, series: SpeedSeries, least_mps: float) -> Stretch | None:
    """The part before the speed falls below least_mps; None where it starts below."""
    time, speed = series.between(stretch.start_s, stretch.end_s)
    slow = np.flatnonzero(speed < least_mps)
    if len(slow) == 0:
        return stretch
    if slow[0] == 0:
        return None
    crossing = 0.5 * (time[slow[0] - 1] + time[slow[0]])
    return replace(stretch, end_s=float(crossing), end_cause="low speed", end_seen=True)
