"""Wheel against satellite speed outside the passes: scale, growth with speed, delay of the satellite.

    v_wheel(t) = v (1 + κ0 + κ2 (v²/v_r² − 1)) at t − ℓ/v,    v_satellite(t) = v(t − δ)

A counter that times a part of a turn lags by half of it, hence a lag ℓ in metres rolled; what lags by a time
in the wheel's electronics is part of δ, which is the satellite's delay against the wheel.
Fitted over what is left of the runs when the passes are taken out (so that the pass fit can use the same
sensors again), by robust least squares; the covariance is widened for the noise's correlation in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.pass_data import SCALE_SPEED_MPS, merged_signals, wheel_roles
from server.analysis.result import Pass
from server.testday.values import Car, FloatArray, Run

DELAY_FLOOR_S = 0.015
SCALE_FLOOR = 0.0007
LAG_FLOOR_M = 0.03
LAG_PRIOR_M, LAG_PRIOR_U_M = 0.3, 0.3  # from a tooth or two to half a turn of a small wheel


@dataclass(frozen=True, slots=True, eq=False)
class SpeedScale:
    """κ0, κ2, δ [s] and ℓ [m] with their covariance (4, 4), and the scatter left [m/s] from n samples."""

    mean: FloatArray
    covariance: FloatArray
    scatter_mps: float
    n: int


def fit_speed_scale(runs: Sequence[Run], passes: Sequence[Pass], car: Car) -> SpeedScale | None:
    """Scale and delay from all runs that carry both speeds; None where too little is left to tell."""
    parts = [_compared(run, [p for p in passes if p.run == run.number and p.used], car) for run in runs]
    kept = [part for part in parts if part is not None]
    if not kept:
        return None
    delay = float(min((_solve(kept, float(d), 0.0)[1], float(d)) for d in np.arange(-0.3, 0.61, 0.05))[1])
    lag, kappa = 0.0, (0.0, 0.0)
    for _ in range(5):
        theta, scatter, covariance, n = _solve(kept, delay, lag, kappa)
        kappa = (float(theta[0]), float(theta[1]))
        delay, lag = delay + float(theta[2]), lag + float(theta[3])
        if not -0.5 < delay < 1.0:
            return None
    mean = np.array([theta[0], theta[1], delay, lag])
    floor = np.diag([SCALE_FLOOR, SCALE_FLOOR, DELAY_FLOOR_S, LAG_FLOOR_M]) ** 2
    return SpeedScale(mean, covariance + floor, scatter, n)


@dataclass(frozen=True, slots=True, eq=False)
class _Compared:
    """The wheel speed of a run and its rate on the wheel's clock, shape (n,); the satellite samples, shape (m,)."""

    time_s: FloatArray
    wheel_mps: FloatArray
    rate_mps2: FloatArray
    satellite_s: FloatArray
    satellite_mps: FloatArray


def _compared(run: Run, passes: Sequence[Pass], car: Car) -> _Compared | None:
    """The wheel speed of a run and the satellite samples outside its passes, slow and braked ones left out."""
    signals = merged_signals(run)
    roles = wheel_roles(car, signals)
    if not roles or "gps_speed" not in signals:
        return None
    time = signals[roles[0]].time_s
    values = np.mean([np.interp(time, signals[r].time_s, signals[r].values) for r in roles], axis=0)
    if len(time) < 20:
        return None
    width = max(1, round(0.2 / max(float(np.median(np.diff(time))), 1e-3)))
    smooth = np.convolve(values, np.ones(width) / width, mode="same")
    satellite = signals["gps_speed"]
    inside = np.zeros(len(satellite.time_s), dtype=bool)
    for p in passes:
        inside |= (satellite.time_s > p.start_s - 0.5) & (satellite.time_s < p.end_s + 0.5)
    speed = np.interp(satellite.time_s, time, smooth)
    rate = np.gradient(smooth, time)
    slope = np.interp(satellite.time_s, time, rate)
    ends = (satellite.time_s > time[0] + 1.5) & (satellite.time_s < time[-1] - 1.5)
    good = ~inside & ends & (speed > 4.0) & (slope > -2.5) & np.isfinite(satellite.values)
    if roles == driven_roles(car, roles):
        good &= np.abs(slope) < 1.0  # driven wheels slip under power
    good &= np.abs(satellite.values - speed) < 0.15 * speed + 2.0
    if np.count_nonzero(good) < 15:
        return None
    return _Compared(time, smooth, rate, satellite.time_s[good], satellite.values[good])


def driven_roles(car: Car, roles: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the roles that are driven wheels."""
    wheels = {"rear": ("rl", "rr"), "front": ("fl", "fr"), "all": ("fl", "fr", "rl", "rr")}[car.driven]
    return tuple(role for role in roles if role.removeprefix("wheel_speed_") in wheels)


def _solve(
    parts: Sequence[_Compared],
    delay: float,
    lag: float,
    kappa: tuple[float, float] = (0.0, 0.0),
) -> tuple[FloatArray, float, FloatArray, int]:
    """One Gauss–Newton step at a delay, lag and (κ0, κ2): (κ0, κ2, changes of delay and lag), scatter,
    covariance, n."""
    design, residual, breaks = [], [], []
    for part in parts:
        near = np.maximum(np.interp(part.satellite_s - delay, part.time_s, part.wheel_mps), 2.0)
        when = part.satellite_s - delay + lag / near
        seen = np.interp(when, part.time_s, part.wheel_mps)
        rate = np.interp(when, part.time_s, part.rate_mps2)
        speed = seen / (1.0 + kappa[0] + kappa[1] * (seen**2 / SCALE_SPEED_MPS**2 - 1.0))
        # wheel = v (1 + κ) → v ≈ wheel − v κ; satellite = wheel − v κ0 − v (v²/v_r² − 1) κ2 − v̇ Δδ + v̇ Δℓ/v
        design.append(np.column_stack([-speed, -speed * (speed**2 / SCALE_SPEED_MPS**2 - 1.0), -rate, rate / near]))
        residual.append(part.satellite_mps - seen)
        breaks.append(len(part.satellite_s))
    X, r = np.vstack(design), np.concatenate(residual)
    prior = np.diag(1.0 / np.array([0.15, 0.006, 0.5, LAG_PRIOR_U_M]) ** 2)
    scale = max(1.4826 * float(np.median(np.abs(r - np.median(r)))), 0.02)
    centre = np.array([0.0, 0.0, 0.0, LAG_PRIOR_M - lag])
    theta = np.zeros(4)
    for _ in range(6):
        left = r - X @ theta
        scale = max(1.4826 * float(np.median(np.abs(left))), 0.02)
        weight = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(left), 1e-12)) / scale**2
        information = (X * weight[:, None]).T @ X
        theta = np.linalg.solve(information + prior, X.T @ (weight * r) + prior @ centre)
    left = r - X @ theta
    stretch = _correlation_stretch(left, breaks)
    covariance = np.linalg.inv(information / stretch + prior)
    return theta, float(scale), covariance, len(r)


def _correlation_stretch(left: FloatArray, breaks: Sequence[int]) -> float:
    """How many correlated samples count as one: 1 + 2 Σ ρ_k, summed to the first lag below 0.05."""
    centred = np.split(left - np.mean(left), np.cumsum(breaks)[:-1])
    power = sum(float(c @ c) for c in centred)
    total = 1.0
    for lag in range(1, 200):
        rho = sum(float(c[lag:] @ c[:-lag]) for c in centred if len(c) > lag) / max(power, 1e-12)
        if rho < 0.05:
            break
        total += 2.0 * rho
    return total
