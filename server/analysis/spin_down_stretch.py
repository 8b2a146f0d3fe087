"""The part of a spin-down in which an axle's wheels run down freely, as block means of their speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.intervals import BoolArray
from server.analysis.spikes import find_spikes
from server.testday.values import FloatArray, Recording, Signal

BLOCK_S = 0.2
MOST_BLOCKS = 120
FEWEST_BLOCKS = 10
SETTLE_S = 0.5  # after release: clutch and joints let go
HELD = 0.97  # of the top speed: until there the wheels may still have been driven
SLOWEST_MPS, SLOWEST_SHARE = 1.5, 0.1  # below, toothed rings count too seldom and seals stick
RISE_MPS, RISE_SHARE = 0.4, 0.02  # a rise that no wheel makes by itself
TOUCH_SHARE, TOUCH_SIGMAS = 0.35, 5.0  # friction off the rest's line by more: touched or driven
LEAST_DROP_MPS, LEAST_DROP_SHARE = 4.0, 0.3
SLOPE_S = 0.8
SPIKE_MPS, SPIKE_MPS2 = 1.0, 20.0


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Free running down: times [s] from its first block, speed [m/s], distance rolled [m] since then, (n,) each.

    start_s, end_s: on the log's clock; left_out: what was cut away for another reason than start and end.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    distance_m: FloatArray
    start_s: float
    end_s: float
    left_out: str = ""


def free_stretch(recording: Recording, roles: Sequence[str]) -> Stretch | str:
    """The stretch over which the mean of an axle's wheels runs down freely, or why there is none.

    The start is cut where the wheels may still be driven, the end near standstill; a brake touch, a second start or
    a rub is cut away where the deceleration leaves the line that the rest follows against speed.

    roles: the wheel speeds of one axle; those that the recording lacks are left out of the mean.
    """
    wheels = [_clean(recording.signals[role]) for role in roles if role in recording.signals]
    wheels = [wheel for wheel in wheels if len(wheel.time_s) >= FEWEST_BLOCKS]
    if not wheels:
        return "no driven wheel's speed is in the log"
    time, mean, slowest = _together(wheels)
    if len(time) < FEWEST_BLOCKS:
        return "the wheel speeds share no time"
    fall, again = _longest_fall(time, mean, slowest)
    blocks = _blocks(time[fall], mean[fall])
    if blocks is None:
        return "the wheels do not run down over enough of a stretch"
    kept, touched = _undisturbed(*blocks[:2])
    t, v, x = (part[kept] for part in blocks)
    if len(t) < FEWEST_BLOCKS or v[0] - v[-1] < max(LEAST_DROP_MPS, LEAST_DROP_SHARE * v[0]):
        return f"the wheels run down freely over {max(v[0] - v[-1], 0.0):.1f} m/s only" if len(t) else "nothing is left"
    said = " and ".join(word for word, is_so in (("a touch or a drive", touched), ("a second start", again)) if is_so)
    return Stretch(t - t[0], v, x - x[0], float(t[0]), float(t[-1]), said)


def _clean(signal: Signal) -> Signal:
    good = np.isfinite(signal.values)
    time, values = signal.time_s[good], np.abs(signal.values[good])
    keep = ~find_spikes(time, values, SPIKE_MPS, SPIKE_MPS2)
    return Signal(time[keep], values[keep], signal.name)


def _together(wheels: list[Signal]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean and slowest of the wheels on the first one's times, where all were logged."""
    first = wheels[0].time_s
    low = max(wheel.time_s[0] for wheel in wheels)
    high = min(wheel.time_s[-1] for wheel in wheels)
    time = first[(first >= low) & (first <= high)]
    speeds = np.array([np.interp(time, wheel.time_s, wheel.values) for wheel in wheels])
    if not len(time):
        return time, time, time
    return time, np.asarray(speeds.mean(axis=0)), np.asarray(speeds.min(axis=0))


def _longest_fall(time: FloatArray, mean: FloatArray, slowest: FloatArray) -> tuple[BoolArray, bool]:
    """The samples of the deepest fall that no rise breaks, its ends trimmed; whether another was half as deep."""
    smooth = _smooth(time, mean)
    rise = max(RISE_MPS, RISE_SHARE * float(smooth.max()))
    falls: list[tuple[float, int, int]] = []
    top = bottom = 0
    for i in range(1, len(smooth) + 1):
        if i == len(smooth) or smooth[i] > smooth[bottom] + rise:
            falls.append((float(smooth[top] - smooth[bottom]), top, bottom))
            top = bottom = i
        elif smooth[i] > smooth[top]:
            top = bottom = i
        elif smooth[i] < smooth[bottom]:
            bottom = i
    depth, first, last = max(falls)
    held = np.flatnonzero(smooth[first : last + 1] >= HELD * smooth[first])
    released = float(time[first + int(held[-1])]) + SETTLE_S
    index = np.arange(len(time))
    inside = (index >= first) & (index <= last) & (time >= released)
    stopped = np.flatnonzero(inside & (slowest < max(SLOWEST_MPS, SLOWEST_SHARE * float(smooth[first]))))
    if len(stopped):
        inside &= index < stopped[0]
    return inside, sum(other[0] > 0.5 * depth for other in falls) > 1


def _smooth(time: FloatArray, values: FloatArray) -> FloatArray:
    """Running mean over half a second."""
    width = max(1, round(0.5 / max(float(np.median(np.diff(time))), 1e-6)))
    padded = np.pad(values, (width // 2, width - 1 - width // 2), mode="edge")
    return np.asarray(np.convolve(padded, np.full(width, 1.0 / width), mode="valid"))


def _blocks(time: FloatArray, speed: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Mean time, mean speed and distance of blocks of equal length; empty ones are left out."""
    if len(time) < FEWEST_BLOCKS:
        return None
    length = max(BLOCK_S, (time[-1] - time[0]) / MOST_BLOCKS, 2.5 * float(np.median(np.diff(time))))
    distance = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
    block = ((time - time[0]) / length).astype(np.intp)
    count = np.bincount(block)
    full = count >= max(1.0, 0.5 * float(np.median(count)))
    if np.count_nonzero(full) < FEWEST_BLOCKS:
        return None
    t, v = (np.bincount(block, weights)[full] / count[full] for weights in (time, speed))
    return t, v, np.interp(t, time, distance)


def _undisturbed(time: FloatArray, speed: FloatArray) -> tuple[slice, bool]:
    """The part with the deepest fall in which the deceleration follows its line against speed; whether any left it."""
    n = len(time)
    half = 0.5 * max(SLOPE_S, (time[-1] - time[0]) / 20.0)
    reach = max(1, min(n // 5, round(half / float(np.median(np.diff(time))))))
    early, late = np.clip(np.arange(n) - reach, 0, n - 1), np.clip(np.arange(n) + reach, 0, n - 1)
    slope = (speed[early] - speed[late]) / (time[late] - time[early])
    line = _robust_line(speed, slope)
    off = slope - line
    noise = 1.4826 * float(np.median(np.abs(off)))
    bad = np.abs(off) > np.maximum(TOUCH_SIGMAS * noise, TOUCH_SHARE * np.abs(line))
    if not bad.any():
        return slice(0, n), False
    spread = np.convolve(bad.astype(float), np.ones(2 * reach + 1), mode="same") > 0.5
    edges = np.flatnonzero(np.diff(np.concatenate([[True], spread, [True]]).astype(np.int8)))
    parts = [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    best = max(parts, key=lambda part: float(speed[part][0] - speed[part][-1]), default=slice(0, 0))
    return best, True


def _robust_line(x: FloatArray, y: FloatArray) -> FloatArray:
    """Theil and Sen's line: the median of all slopes, then the median intercept. Breaks down beyond 29 %."""
    i, j = np.triu_indices(len(x), 1)
    run = x[j] - x[i]
    apart = np.abs(run) > 1e-9
    slope = float(np.median((y[j] - y[i])[apart] / run[apart])) if apart.any() else 0.0
    return np.asarray(slope * x + np.median(y - slope * x))
