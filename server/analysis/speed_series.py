"""The leading speed, made ready for cutting: holes found, fast logs averaged into blocks, noise measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.intervals import Intervals
from server.testday.values import FloatArray, Signal

BLOCK_S = 0.2
LEAST_NOISE_MPS = 0.05  # gusts and driving are never parabolas to better than this
CALM_SHARE = 0.6  # of the third differences, the rest holds the kinks
CALM_RMS = 0.4636  # root mean square of a standard normal's inner 60 %


@dataclass(frozen=True, slots=True, eq=False)
class SpeedSeries:
    """Speed as cleaned samples and as block means, on the run's clock.

    time_s, speed_mps: samples, shape (n,); period_s: their median spacing.
    block_s, block_mps: means over about 0.2 s, shape (m,); sigma_mps: noise of a block mean.
    holes: where no sample came for longer than the options allow; start_s, end_s: of the record.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    period_s: float
    block_s: FloatArray
    block_mps: FloatArray
    sigma_mps: float
    holes: Intervals

    @property
    def start_s(self) -> float:
        """First sample's time [s]."""
        return float(self.time_s[0])

    @property
    def end_s(self) -> float:
        """Last sample's time [s]."""
        return float(self.time_s[-1])

    def between(self, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
        """Block means with times in [start_s, end_s]."""
        low, high = np.searchsorted(self.block_s, [start_s, end_s])
        return self.block_s[low:high], self.block_mps[low:high]

    def at(self, time_s: FloatArray) -> FloatArray:
        """Speed at these times, straight between blocks [m/s]."""
        return np.interp(time_s, self.block_s, self.block_mps)


def speed_series(signal: Signal, max_gap_s: float) -> SpeedSeries:
    """Prepare a cleaned speed of at least four samples; raises ValueError on fewer."""
    time, speed = signal.time_s, signal.values
    if len(time) < 4:
        raise ValueError(f"signal has {len(time)} samples, at least 4 are needed")
    period = float(np.median(np.diff(time)))
    block, mean = block_means(time, speed, max(BLOCK_S, period))
    longest = max(max_gap_s, 2.5 * period)
    gap = np.diff(time) > longest
    holes = np.column_stack([time[:-1][gap], time[1:][gap]])
    return SpeedSeries(time, speed, period, block, mean, noise_of(block, mean), holes)


def block_means(time_s: FloatArray, values: FloatArray, width_s: float) -> tuple[FloatArray, FloatArray]:
    """Mean time and mean value of the samples in every block that holds any."""
    period = float(np.median(np.diff(time_s)))
    together = max(1, round(width_s / period))
    if together == 1:
        return time_s, values
    index = np.floor((time_s - time_s[0]) / (together * period) + 1e-6).astype(np.int64)
    count = np.bincount(index)
    full = count > 0
    time = np.bincount(index, time_s)[full] / count[full]
    return time, np.bincount(index, values)[full] / count[full]


def noise_of(time_s: FloatArray, speed_mps: FloatArray) -> float:
    """Standard deviation of a sample's noise from third differences, while moving [m/s].

    A third difference of white noise σ has variance 20 σ²; the largest of them are left out, for they hold
    the kinks.
    """
    third = np.diff(speed_mps, 3)
    step = np.diff(time_s)
    even = np.maximum(np.maximum(step[:-2], step[1:-1]), step[2:]) < 1.5 * np.median(step)
    third = np.sort(np.abs(third[even & (speed_mps[1:-2] > 2.0)]))
    if len(third) < 10:
        return 3.0 * LEAST_NOISE_MPS
    calm = third[: int(CALM_SHARE * len(third))]
    return max(LEAST_NOISE_MPS, float(np.sqrt(np.mean(calm**2) / 20.0)) / CALM_RMS)
