"""What the driver and the driveline did, as times on the run's clock, from the channels that tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from server.analysis.intervals import Intervals, join, meet, no_intervals, where, without
from server.analysis.pass_options import PassOptions
from server.testday.values import Finding, FloatArray, Signal

NOISE_TIMES = 6.0
LEAST_BRAKE_PA = 5e4
LEAST_TRAVEL = 0.2
CLOSED_AT_MOST = 0.3
CLUTCH_SHARE = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Driver:
    """When the throttle was open, the brake on, the motor pushed or braked, the driveline free or in gear.

    None where no channel tells; clutch_told: a clutch channel that moves was there. All intervals reach to
    the neighbouring samples on either side.
    """

    throttle: Intervals | None
    brake: Intervals | None
    pushing: Intervals | None
    regenerating: Intervals | None
    free: Intervals | None
    engaged: Intervals | None
    clutch_told: bool = False
    findings: tuple[Finding, ...] = ()

    @property
    def drive_seen(self) -> bool:
        """Whether a channel tells when the car was driven."""
        return self.throttle is not None or self.pushing is not None


def driver_of(signals: Mapping[str, Signal], options: PassOptions, run: int) -> Driver:
    """Read throttle, brake, torque, gear and clutch; a channel that never moves tells nothing."""
    findings: list[Finding] = []

    def read(role: str) -> Signal | None:
        signal = signals.get(role)
        return signal if signal is not None and len(signal.time_s) >= 3 else None

    throttle = _opened(read("throttle"), options.throttle_closed, findings, run)
    brake = _braking(read("brake_pressure"), options.brake_released, findings, run)
    pushing, regenerating = _torque(read("motor_torque"), options.torque_zero)
    clutch = read("clutch")
    opened = _clutch_open(clutch, throttle)
    free, engaged = _driveline(read("gear"), clutch, opened)
    told = opened is not None
    return Driver(throttle, brake, pushing, regenerating, free, engaged, told, tuple(findings))


def _steady(signal: Signal) -> FloatArray:
    """Values without single samples that stand out."""
    return np.asarray(median_filter(signal.values, size=3, mode="nearest"))


def _opened(signal: Signal | None, closed: float, findings: list[Finding], run: int) -> Intervals | None:
    if signal is None:
        return None
    values = _steady(signal)
    low, high = (float(v) for v in np.percentile(values, [1.0, 99.5]))
    full = 1.0 if high <= 1.5 else 100.0 if high <= 110.0 else high
    if high - low < LEAST_TRAVEL * full or low > CLOSED_AT_MOST * full:
        findings.append(_silent("throttle", run, "lift and throttle are taken from the speed"))
        return None
    return where(signal.time_s, values > low + closed * (high - low), reach=True)


def _braking(signal: Signal | None, released: float, findings: list[Finding], run: int) -> Intervals | None:
    """Brake on: above the released level by a share of the range and by six times its noise."""
    if signal is None:
        return None
    values = _steady(signal)
    low, high = (float(v) for v in np.percentile(values, [20.0, 99.8]))
    rest = values[values <= np.median(values)]
    noise = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    is_switch = high <= 1.5 and float(np.min(values)) >= -0.5
    if high - low < max(NOISE_TIMES * noise, 0.5 if is_switch else LEAST_BRAKE_PA):
        findings.append(_silent("brake", run, "braking is taken from the speed"))
        return None
    return where(signal.time_s, values > low + max(released * (high - low), NOISE_TIMES * noise), reach=True)


def _silent(what: str, run: int, instead: str) -> Finding:
    return Finding("channel-silent", "check", f"The {what} channel never moves; {instead}.", run)


def _torque(signal: Signal | None, zero: float) -> tuple[Intervals | None, Intervals | None]:
    if signal is None or np.ptp(signal.values) == 0.0:
        return None, None
    values = _steady(signal)
    limit = zero * float(np.percentile(np.abs(values), 99.5))
    return where(signal.time_s, values > limit, reach=True), where(signal.time_s, values < -limit, reach=True)


def _driveline(
    gear: Signal | None, clutch: Signal | None, opened: Intervals | None
) -> tuple[Intervals | None, Intervals | None]:
    """Free (neutral or clutch open) and engaged; None, None where neither channel tells."""
    if gear is not None and np.ptp(gear.values) == 0.0:
        gear = None
    if gear is None and opened is None:
        return None, None
    neutral = where(gear.time_s, gear.values == 0.0) if gear is not None else no_intervals()
    free = join(neutral, opened) if opened is not None else neutral
    clock = gear if gear is not None else clutch
    if clock is None:
        return None, None
    whole = np.array([[clock.time_s[0], clock.time_s[-1]]])
    return free, without(whole, free)


def _clutch_open(clutch: Signal | None, throttle: Intervals | None) -> Intervals | None:
    """Clutch open: the half of its travel where the car is not driven; None where it never moves."""
    if clutch is None:
        return None
    low, high = float(np.min(clutch.values)), float(np.max(clutch.values))
    if high == low:
        return None
    pressed = clutch.values > low + CLUTCH_SHARE * (high - low)
    opened = where(clutch.time_s, pressed)
    if throttle is None or len(throttle) == 0:
        return opened
    driven = float(np.sum(np.diff(meet(opened, throttle), axis=1)))
    return opened if driven < 0.5 * float(np.sum(np.diff(throttle, axis=1))) else where(clutch.time_s, ~pressed)
