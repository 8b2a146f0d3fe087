"""Satellite speed and position: slow, delayed, with coloured noise and dropouts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.testday.values import Signal
from tests.simulator.wind import ou_path

FloatArray = NDArray[np.float64]
EARTH_M = 6_371_008.8


@dataclass(frozen=True, slots=True)
class SatelliteLaw:
    """Coloured noise of sd sigma and time colour, white noise, a delay: the log at t shows t − delay_s."""

    rate_hz: float
    sigma_mps: float
    colour_s: float
    white_mps: float
    delay_s: float
    dropouts_per_minute: float
    position_sigma_m: float


def draw_satellite_law(rng: np.random.Generator) -> SatelliteLaw:
    return SatelliteLaw(
        rate_hz=float(rng.choice([5.0, 10.0, 20.0, 25.0])),
        sigma_mps=float(rng.uniform(0.02, 0.07)),
        colour_s=float(rng.uniform(0.3, 2.0)),
        white_mps=float(rng.uniform(0.005, 0.03)),
        delay_s=float(rng.uniform(0.05, 0.3)),
        dropouts_per_minute=float(rng.uniform(0.0, 0.6)),
        position_sigma_m=float(rng.uniform(0.3, 1.5)),
    )


def sample_clock(law: SatelliteLaw, rng: np.random.Generator, start_s: float, end_s: float) -> FloatArray:
    """Times at which the receiver wrote a row: regular, but for stretches of 0.4 to 3 s that are missing."""
    when = np.arange(start_s + law.delay_s, end_s, 1.0 / law.rate_hz)
    kept = np.ones(when.size, dtype=bool)
    for _ in range(rng.poisson(law.dropouts_per_minute * (end_s - start_s) / 60.0)):
        begin = rng.uniform(start_s, end_s)
        kept &= ~((when >= begin) & (when < begin + rng.uniform(0.4, 3.0)))
    return when[kept]


def satellite_speed(
    law: SatelliteLaw, rng: np.random.Generator, when: FloatArray, time_s: FloatArray, speed_mps: FloatArray
) -> Signal:
    """Speed over ground [m/s], never negative, in steps of 0.001 m/s."""
    true = np.interp(when - law.delay_s, time_s, speed_mps)
    full = np.arange(when[0], when[-1] + 1.0, 1.0 / law.rate_hz)
    coloured = ou_path(rng, full.size, 1.0 / law.rate_hz, law.colour_s, law.sigma_mps)
    noise = np.interp(when, full, coloured) + law.white_mps * rng.standard_normal(when.size)
    # A receiver at rest reports a few cm/s at most
    noise *= np.where(true < 0.3, 0.5, 1.0)
    return Signal(when, np.round(np.abs(true + noise), 3), "gps_speed")


def satellite_position(
    *,
    law: SatelliteLaw,
    rng: np.random.Generator,
    when: FloatArray,
    time_s: FloatArray,
    north_m: FloatArray,
    east_m: FloatArray,
    origin_rad: tuple[float, float],
) -> tuple[Signal, Signal]:
    """Latitude and longitude [rad] on a sphere, with an error that wanders over a minute."""
    step = 1.0 / law.rate_hz
    full = np.arange(when[0], when[-1] + 1.0, step)
    wander = [np.interp(when, full, ou_path(rng, full.size, step, 60.0, law.position_sigma_m)) for _ in "ne"]
    fine = 0.02 * rng.standard_normal((2, when.size))
    north = np.interp(when - law.delay_s, time_s, north_m) + wander[0] + fine[0]
    east = np.interp(when - law.delay_s, time_s, east_m) + wander[1] + fine[1]
    latitude = origin_rad[0] + north / EARTH_M
    longitude = origin_rad[1] + east / (EARTH_M * np.cos(origin_rad[0]))
    return Signal(when, latitude, "latitude"), Signal(when, longitude, "longitude")
