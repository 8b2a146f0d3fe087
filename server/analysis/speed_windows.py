"""How long coast-downs take through windows of speed: the raw material of the interval method."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.testday.values import FloatArray

KMH = 1.0 / 3.6
_ENOUGH_WINDOWS = 5


@dataclass(frozen=True, slots=True, eq=False)
class CoastDown:
    """One coast-down: time_s rising, speed_mps falling on the whole, (n,).

    direction: +1 out, -1 back; 0 unknown, which no window can pair.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    direction: int

    def __post_init__(self) -> None:
        t, v = np.asarray(self.time_s), np.asarray(self.speed_mps)
        if t.ndim != 1 or t.shape != v.shape or t.size < 2:
            raise ValueError("time_s and speed_mps must have one length, two samples at least")
        if not (np.all(np.isfinite(t)) and np.all(np.isfinite(v)) and np.all(np.diff(t) > 0.0)):
            raise ValueError("time_s must rise and speed_mps be finite")
        if self.direction not in {1, 0, -1}:
            raise ValueError(f"direction must be 1 (out), -1 (back) or 0 (unknown), got {self.direction}")


@dataclass(frozen=True, slots=True)
class WindowTimes:
    """Times through speed_mps ± half_window_mps, each way in the order driven [s]; measured or hand-typed."""

    speed_mps: float
    half_window_mps: float
    times_out_s: tuple[float, ...]
    times_back_s: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.speed_mps >= self.half_window_mps > 0.0:
            raise ValueError("half_window_mps must be above zero and no more than speed_mps")
        if any(not (math.isfinite(t) and t > 0.0) for t in (*self.times_out_s, *self.times_back_s)):
            raise ValueError("times_out_s and times_back_s must be above zero")

    @property
    def pair_times_s(self) -> tuple[float, ...]:
        """Harmonic means of opposite passes, the k-th out with the k-th back: 2/(1/t_out + 1/t_back) [s]."""
        both = zip(self.times_out_s, self.times_back_s, strict=False)
        return tuple(2.0 / (1.0 / out + 1.0 / back) for out, back in both)


@dataclass(frozen=True, slots=True)
class IntervalOptions:
    """How the method is applied; the published procedure's own values as defaults.

    reference_speeds_mps: middles of the windows [m/s]; empty: multiples of step_mps wherever passes cross
    half_window_mps: Δv; step_mps [m/s]; both are halved, twice at most, while fewer than five windows fit
    smoothing_s: width of the running straight line that smooths the speed before crossings are sought [s]
    longest_gap_s: no crossing is read inside a longer gap between samples [s]
    fewest_pairs: windows with fewer are shown but not fitted [-]; precision_limit: the published p [-]
    """

    reference_speeds_mps: tuple[float, ...] = ()
    half_window_mps: float = 5.0 * KMH
    step_mps: float = 10.0 * KMH
    smoothing_s: float = 0.5
    longest_gap_s: float = 1.5
    fewest_pairs: int = 2
    precision_limit: float = 0.03

    def __post_init__(self) -> None:
        for name in ("half_window_mps", "step_mps", "longest_gap_s", "precision_limit"):
            if not getattr(self, name) > 0.0:
                raise ValueError(f"{name} must be above zero")
        if self.smoothing_s < 0.0 or self.fewest_pairs < 1:
            raise ValueError("smoothing_s must not be negative and fewest_pairs at least 1")


def window_times(passes: Sequence[CoastDown], options: IntervalOptions) -> tuple[WindowTimes, ...]:
    """Times of all passes through all windows that any of them crosses, by rising speed.

    passes: in the order driven. Without reference speeds the grid of `options` is used, halved while it gives
    fewer than five windows with enough pairs.
    """
    smooth = [_smoothed(one, options.smoothing_s) for one in passes]
    if options.reference_speeds_mps:
        return _timed(
            smooth,
            np.sort(np.asarray(options.reference_speeds_mps, dtype=np.float64)),
            options.half_window_mps,
            options,
        )
    top = max((float(np.max(one.speed_mps)) for one in smooth), default=0.0)
    best: tuple[WindowTimes, ...] = ()
    for halving in (1.0, 2.0, 4.0):
        step = options.step_mps / halving
        grid = step * np.arange(1, int(top / step) + 1, dtype=np.float64)
        found = _timed(smooth, grid, options.half_window_mps / halving, options)
        if len(found) > len(best):
            best = found
        if sum(len(window.pair_times_s) >= options.fewest_pairs for window in best) >= _ENOUGH_WINDOWS:
            break
    return best


def crossing_times(one: CoastDown, levels_mps: FloatArray, longest_gap_s: float = math.inf) -> FloatArray:
    """When a coast-down passes through levels of speed, the mean of the crossings where noise makes several.

    t(V) = t0 + ∫ [v > V] dt between the fastest and the slowest sample, v straight between samples: the time
    spent above V. Noise that is as often up as down moves it to neither side; it would move a first crossing.

    levels_mps: V, shape (k,) [m/s]. Returns t on the clock of time_s, shape (k,) [s]; nan for a level that
    the pass does not go through, or reaches within a gap.
    """
    first = int(np.argmax(one.speed_mps))
    last = first + int(np.argmin(one.speed_mps[first:]))
    t, v = one.time_s[first : last + 1], one.speed_mps[first : last + 1]
    V = np.asarray(levels_mps, dtype=np.float64)[:, np.newaxis]
    if t.size < 2:
        return np.full(V.shape[0], np.nan)
    high, low = np.maximum(v[:-1], v[1:]), np.minimum(v[:-1], v[1:])
    span = np.where(high > low, high - low, 1.0)
    above = np.where(high > low, np.clip((high - V) / span, 0.0, 1.0), high > V)
    crossing = t[0] + above @ np.diff(t)
    gap = np.diff(t)[np.clip(np.searchsorted(t, crossing) - 1, 0, t.size - 2)] > longest_gap_s
    return np.where((V[:, 0] < v[0]) & (V[:, 0] > v[-1]) & ~gap, crossing, np.nan)


def running_line(time_s: FloatArray, values: FloatArray, width_s: float) -> FloatArray:
    """Value at each sample of the straight line fitted to the samples within ± width/2 of it.

    time_s, values: shape (n,), time rising; width_s [s]. Returns shape (n,). A line rather than a mean, so
    that neither the slope at the ends nor uneven sampling shifts it.
    """
    if width_s <= 0.0 or time_s.size < 3:
        return np.asarray(values, dtype=np.float64)
    t, y = time_s - np.mean(time_s), np.asarray(values - np.mean(values), dtype=np.float64)
    first = np.searchsorted(t, t - 0.5 * width_s - 1e-9, side="left")
    last = np.searchsorted(t, t + 0.5 * width_s + 1e-9, side="right")

    def total(column: FloatArray) -> FloatArray:
        running = np.concatenate([[0.0], np.cumsum(column)])
        return np.asarray(running[last] - running[first])

    n = (last - first).astype(np.float64)
    mean_t, mean_y = total(t) / n, total(y) / n
    spread = total(t * t) - n * mean_t**2
    slope = (total(t * y) - n * mean_t * mean_y) / np.where(n > 2, spread, np.inf)
    line = mean_y + slope * (t - mean_t)
    return np.asarray(np.where(n > 2, line, y) + np.mean(values))


def _smoothed(one: CoastDown, width_s: float) -> CoastDown:
    time, speed = (np.asarray(column, dtype=np.float64) for column in (one.time_s, one.speed_mps))
    return CoastDown(time, running_line(time, speed, width_s), one.direction)


def _timed(
    passes: Sequence[CoastDown], speeds: FloatArray, half: float, options: IntervalOptions
) -> tuple[WindowTimes, ...]:
    usable = speeds[speeds >= half]
    through = {1: [_through(one, usable, half, options) for one in passes if one.direction == 1]}
    through[-1] = [_through(one, usable, half, options) for one in passes if one.direction == -1]
    windows = []
    for place, speed in enumerate(usable):
        out, back = (
            tuple(float(times[place]) for times in through[way] if np.isfinite(times[place])) for way in (1, -1)
        )
        if out or back:
            windows.append(WindowTimes(float(speed), half, out, back))
    return tuple(windows)


def _through(one: CoastDown, speeds: FloatArray, half: float, options: IntervalOptions) -> FloatArray:
    upper = crossing_times(one, speeds + half, options.longest_gap_s)
    lower = crossing_times(one, speeds - half, options.longest_gap_s)
    return np.where(lower > upper, lower - upper, np.nan)
