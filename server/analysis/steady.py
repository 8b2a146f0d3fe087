"""Static zeros and constant-speed passes: stretches on which the speed does not change."""

from __future__ import annotations

import numpy as np

from server.analysis.intervals import Intervals, bridged, lasting, where
from server.analysis.pass_options import PassOptions
from server.analysis.smoothing import slopes
from server.analysis.speed_series import SpeedSeries

GRID_S = 0.2
SLOPE_S = 2.0
FLICKER_S = 0.4
NOISE_TIMES = 2.5
MOST_NOISE_MPS = 0.7


def standing(series: SpeedSeries, options: PassOptions) -> Intervals:
    """When the car stands for so long that the sensors have a zero, without settling."""
    noise = min(NOISE_TIMES * series.sigma_mps, MOST_NOISE_MPS) if series.sigma_mps > 0.05 else 0.0
    still = where(series.block_s, series.block_mps < options.zero_speed_mps + noise)
    found = lasting(bridged(still, FLICKER_S + series.period_s), options.zero_min_s)
    settle = np.array([options.zero_settle_s, -options.zero_settle_s])
    return np.asarray(found + settle)


def constant_speed(series: SpeedSeries, options: PassOptions) -> Intervals:
    """When the speed's slope over two seconds stays below the threshold, above the least speed."""
    time = np.arange(series.start_s, series.end_s, GRID_S)
    speed = series.at(time)
    width = max(SLOPE_S, 4.0 * series.period_s)
    even = np.abs(slopes(speed, GRID_S, width)) <= options.steady_mps2 + _slope_noise(series, width)
    return lasting(where(time, even & (speed > options.min_speed_mps)), options.steady_min_s)


def _slope_noise(series: SpeedSeries, width_s: float) -> float:
    """Standard error of a slope over width_s from white noise of the blocks, at most 0.1 [m/s²]."""
    spacing = max(GRID_S, series.period_s)
    n = max(3.0, width_s / spacing)
    return float(min(0.1, series.sigma_mps / spacing * np.sqrt(12.0 / (n * (n**2 - 1.0)))))
