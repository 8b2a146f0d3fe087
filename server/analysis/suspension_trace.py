"""A run on an even grid: speed, acceleration, what the driver did, and every suspension sensor beside it.

Speed's slope over `KERNEL_S` is dv/dt weighted by a parabola of that width; readings and pressure are weighted
alike, so that a reading that follows acceleration and pressure in a straight line does so here too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.analysis.driver import driver_of
from server.analysis.intervals import BoolArray, Intervals, inside, intervals, no_intervals, runs_of
from server.analysis.pass_options import PassOptions
from server.analysis.smoothing import slopes
from server.analysis.speed_pick import best_signals, pick_speed
from server.analysis.speed_series import SpeedSeries, speed_series
from server.analysis.suspension_sensors import Sensor, sensors_of
from server.analysis.turning import lateral_acceleration, turns
from server.testday.values import Car, FloatArray, Run, Signal

STEP_S = 0.1
KERNEL_S = 0.6
MEAN_S = 0.2
MOVING_MPS = 1.0
LEG_TOP_MPS = 8.0
SLOWEST_SPEED_S = 0.6
NOMINAL_DENSITY_KGM3 = 1.2
BRAKING_MPS2 = -3.2
CALM_MPS2 = 1.0
SETTLED_S = 0.3
LAGS_S = (-0.1, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5)


@dataclass(frozen=True, slots=True, eq=False)
class DriveTrace:
    """One run on a grid, arrays (n,).

    pressure_pa: ½ρv² at 1.2 kg/m³; leg: number of the drive from standstill to standstill, −1 elsewhere;
    calm: moving in a leg, straight, acceleration not about to change; readings: role → value, nan where the
    log has none, moved to where they fit the speed's own lateness best.
    """

    run: Run
    time_s: FloatArray
    speed_mps: FloatArray
    accel_mps2: FloatArray
    pressure_pa: FloatArray
    leg: NDArray[np.int64]
    calm: BoolArray
    braking: BoolArray
    turning: Intervals
    series: SpeedSeries
    signals: Mapping[str, Signal]
    sensors: tuple[Sensor, ...]
    readings: Mapping[str, FloatArray]

    @property
    def legs(self) -> range:
        """Numbers of the drives from standstill to standstill."""
        return range(int(self.leg.max(initial=-1)) + 1)

    def lateral(self) -> tuple[FloatArray, FloatArray] | None:
        """Time [s] and lateral acceleration [m/s²], sign as its channel has it; None without a channel."""
        return lateral_acceleration(self.signals, self.series)


def drive_trace(run: Run, car: Car) -> DriveTrace | None:
    """Read a run; None where it has no usable speed or no suspension sensor."""
    options = PassOptions()
    signals = best_signals(run)
    sensors = sensors_of(role for role, signal in signals.items() if len(signal.time_s) >= 8)
    source = pick_speed(run, car) if sensors else None
    if source is None or len(source.signal.time_s) < 8 or source.period_s > SLOWEST_SPEED_S:
        return None
    series = speed_series(source.signal, options.max_gap_s)
    time = np.arange(series.start_s, series.end_s, STEP_S)
    if len(time) < 30:
        return None
    speed = series.at(time)
    accel = slopes(speed, STEP_S, KERNEL_S)
    pressure = 0.5 * NOMINAL_DENSITY_KGM3 * parabolic(speed**2)
    brake = driver_of(signals, options, run.number).brake
    turning = turns(signals, series, options)
    turning = no_intervals() if turning is None else turning
    leg = _legs(speed)
    fading = _change(accel) > CALM_MPS2
    holes = inside(time, intervals(series.holes + np.array([-1.0, 1.0]))) if len(series.holes) else fading & False
    calm = (leg >= 0) & (speed > 2.0) & ~fading & ~inside(time, turning) & ~holes
    lag = _lag({s.role: signals[s.role] for s in sensors}, time, leg, np.column_stack([pressure, accel]))
    return DriveTrace(
        run=run,
        time_s=time,
        speed_mps=speed,
        accel_mps2=accel,
        pressure_pa=pressure,
        leg=leg,
        calm=calm,
        braking=inside(time, brake) if brake is not None else accel < BRAKING_MPS2,
        turning=turning,
        series=series,
        signals=signals,
        sensors=sensors,
        readings={s.role: parabolic(on_grid(signals[s.role], time - lag)) for s in sensors},
    )


def parabolic(values: FloatArray) -> FloatArray:
    """Mean with the weight that a least-squares slope over KERNEL_S gives to the derivative; shape (n,)."""
    half = max(1, round(0.5 * KERNEL_S / STEP_S))
    offset = np.arange(-half, half + 1, dtype=np.float64)
    # slope = Σ o v / Σ o²: a difference v(k) − v(k−1) enters with the sum of the offsets from k on
    weight = np.cumsum(offset[::-1])[:-1]
    weight /= weight.sum()
    centred = 0.5 * (np.append(weight, 0.0) + np.append(0.0, weight))
    padded = np.pad(values, half, mode="edge")
    return np.asarray(np.convolve(padded, centred, mode="valid"))


def on_grid(signal: Signal, time_s: FloatArray) -> FloatArray:
    """Means over MEAN_S about each time; linear between slow samples; nan where the log has none for 0.5 s."""
    good = np.isfinite(signal.values)
    when, values = signal.time_s[good], signal.values[good]
    if len(when) < 2:
        return np.full(len(time_s), np.nan)
    period = float(np.median(np.diff(when)))
    found = np.interp(time_s, when, values, left=np.nan, right=np.nan)
    if period < 0.5 * MEAN_S:
        total = np.concatenate([[0.0], np.cumsum(values)])
        low = np.searchsorted(when, time_s - 0.5 * MEAN_S)
        high = np.searchsorted(when, time_s + 0.5 * MEAN_S)
        full = high > low
        found[full] = (total[high[full]] - total[low[full]]) / (high - low)[full]
    longest = max(0.5, 2.5 * period)
    after = np.clip(np.searchsorted(when, time_s), 1, len(when) - 1)
    found[when[after] - when[after - 1] > longest] = np.nan
    return found


def _lag(signals: Mapping[str, Signal], time_s: FloatArray, leg: NDArray[np.int64], inputs: FloatArray) -> float:
    """How much later than the sensors the speed is logged [s]: where the readings follow pressure and acceleration
    best, all sensors taken together. A satellite's speed is late by tenths of a second."""
    misfit = np.zeros(len(LAGS_S))
    for signal in signals.values():
        left = []
        for lag in LAGS_S:
            reading = parabolic(on_grid(signal, time_s - lag))
            use = (leg >= 0) & np.isfinite(reading)
            if np.count_nonzero(use) < 40 or np.ptp(reading[use]) == 0.0:
                break
            left.append(_unexplained(inputs[use], reading[use], leg[use]))
        if len(left) == len(LAGS_S):
            misfit += np.log(np.array(left) + 1e-6)
    return float(LAGS_S[int(np.argmin(misfit))])


def _unexplained(inputs: FloatArray, reading: FloatArray, leg: NDArray[np.int64]) -> float:
    """Share of a reading's variance that inputs and a zero for each drive leave."""
    rows = np.column_stack([inputs, leg[:, None] == np.unique(leg)[None, :]])
    left = reading - rows @ np.linalg.lstsq(rows, reading, rcond=None)[0]
    return float(np.var(left) / np.var(reading))


def _legs(speed_mps: FloatArray) -> NDArray[np.int64]:
    """Number of the drive that a sample belongs to; −1 at a standstill and in slow shunting."""
    leg = np.full(len(speed_mps), -1, dtype=np.int64)
    number = 0
    for first, last in runs_of(speed_mps > MOVING_MPS):
        if np.max(speed_mps[first : last + 1]) >= LEG_TOP_MPS:
            leg[first : last + 1] = number
            number += 1
    return leg


def _change(accel: FloatArray) -> FloatArray:
    """Largest difference of acceleration within SETTLED_S of each sample."""
    half = round(SETTLED_S / STEP_S)
    padded = np.pad(accel, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    return np.asarray(windows.max(axis=1) - windows.min(axis=1))
