"""Does a stretch slow down as a coasting car does? Its deceleration against speed, held against the band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.coasting_band import CoastingBand
from server.testday.values import FloatArray

PIECE_S = 1.0
FEWEST_PIECES = 3
SURE = 1.6
SURE_AGAINST_WORD = 2.5  # where a channel or the run sheet says that the driveline was free
GUST_SHARE = 0.1  # of the mean deceleration, what a gust may add to one end of a stretch


@dataclass(frozen=True, slots=True)
class Deceleration:
    """d = level + growth · v²: level [m/s²] with its standard error (gusts included), growth [1/m].

    mean_mps2: over the whole stretch; share_above: how much of it slows down harder than the band allows;
    n: pieces it was fitted to.
    """

    level_mps2: float
    level_u_mps2: float
    growth_per_m: float
    mean_mps2: float
    share_above: float
    n: int


def deceleration_of(time_s: FloatArray, speed_mps: FloatArray, band: CoastingBand) -> Deceleration:
    """Fit deceleration against v² over pieces of about a second; shape (n,), n ≥ 3."""
    if len(time_s) < 3:
        raise ValueError(f"time_s has {len(time_s)} values, at least 3 are needed")
    speed, slows = _pieces(time_s, speed_mps)
    mean = float((speed_mps[0] - speed_mps[-1]) / (time_s[-1] - time_s[0]))
    above = float(np.mean(slows > band.most(speed)))
    if len(speed) < FEWEST_PIECES:
        return Deceleration(mean, np.inf, 0.0, mean, above, len(speed))
    design = np.column_stack([np.ones_like(speed), speed**2])
    covariance = np.linalg.pinv(design.T @ design)
    theta = covariance @ (design.T @ slows)
    left = slows - design @ theta
    variance = float(left @ left) / max(len(speed) - 2, 1)
    top, bottom = speed[0] ** 2, speed[-1] ** 2
    gust = GUST_SHARE * mean * np.hypot(top, bottom) / max(abs(top - bottom), 1e-3)
    error = float(np.hypot(np.sqrt(variance * covariance[0, 0]), gust))
    return Deceleration(float(theta[0]), error, float(theta[1]), mean, above, len(speed))


def resistance_reason(found: Deceleration, band: CoastingBand, middle_mps: float, said_free: bool = False) -> str:
    """Why this is no coasting, in words; empty where it may be. said_free: the driveline is told to be free."""
    sure = SURE_AGAINST_WORD if said_free else SURE
    if found.level_mps2 - sure * found.level_u_mps2 > band.most_mps2:
        return f"resists with {found.level_mps2:.1f} m/s² even without air: engine braking or a brake"
    if found.share_above > 0.5:
        hard = f"slows down by {found.mean_mps2:.1f} m/s², more than tyres and air can"
        return f"{hard}: engine braking or a brake"
    if found.mean_mps2 < float(band.least(np.array(middle_mps))):
        return "hardly slows down: driven or downhill"
    return ""


def _pieces(time_s: FloatArray, speed_mps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean speed and deceleration of every piece of about a second, at least three samples each."""
    count = int(np.clip((time_s[-1] - time_s[0]) / PIECE_S, 1, len(time_s) // 3))
    index = np.minimum((np.arange(len(time_s)) * count) // len(time_s), count - 1)
    n = np.bincount(index)
    t = np.bincount(index, time_s) / n
    v = np.bincount(index, speed_mps) / n
    dt, dv = time_s - t[index], speed_mps - v[index]
    spread = np.bincount(index, dt * dt)
    told = spread > 0.0  # samples that share one time tell no slope
    return v[told], -np.bincount(index, dt * dv)[told] / spread[told]
