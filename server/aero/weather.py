"""Air density at any time of the day from readings taken now and then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from server.aero.air import density_with_u
from server.aero.arguments import FloatArray, floats


@dataclass(frozen=True, slots=True, eq=False)
class AirReadings:
    """Weather readings as arrays of shape (n,), in order of time.

    clock_s: seconds after local midnight, strictly rising [s]
    pressure_pa, temperature_k, humidity: station pressure [Pa], air temperature [K], relative, 0 to 1 [-]
    pressure_u_pa, temperature_u_k, humidity_u: their standard uncertainties; a number holds for all readings
    """

    clock_s: FloatArray
    pressure_pa: FloatArray
    temperature_k: FloatArray
    humidity: FloatArray
    pressure_u_pa: ArrayLike = 0.0
    temperature_u_k: ArrayLike = 0.0
    humidity_u: ArrayLike = 0.0

    def __post_init__(self) -> None:
        n = np.size(self.clock_s)
        if n == 0:
            raise ValueError("clock_s: at least one reading is needed")
        if np.any(np.diff(self.clock_s) <= 0.0):
            raise ValueError("clock_s must rise from reading to reading")
        for name in ("pressure_pa", "temperature_k", "humidity"):
            if np.size(getattr(self, name)) != n:
                raise ValueError(f"{name} must have as many values as clock_s ({n})")


def air_at(readings: AirReadings, clock_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Density and its standard uncertainty at times of the day.

    Pressure, temperature and humidity are interpolated linearly between readings and held before the first
    and after the last. The readings come from the same instruments, so their errors are taken as common:
    uncertainties are interpolated like the values and do not shrink between two readings.

    clock_s: seconds after local midnight, any shape [s]. Returns (ρ, u) [kg/m³], same shape.
    """
    (t,) = floats(clock_s)
    return density_with_u(
        _between(readings, readings.pressure_pa, t),
        _between(readings, readings.temperature_k, t),
        _between(readings, readings.humidity, t),
        pressure_u_pa=_between(readings, readings.pressure_u_pa, t),
        temperature_u_k=_between(readings, readings.temperature_u_k, t),
        humidity_u=_between(readings, readings.humidity_u, t),
    )


def time_from_nearest_reading(readings: AirReadings, clock_s: ArrayLike) -> FloatArray:
    """How old or how early the nearest reading is [s]: same shape as clock_s."""
    (t,) = floats(clock_s)
    return np.asarray(np.min(np.abs(t[..., np.newaxis] - readings.clock_s), axis=-1))


def _between(readings: AirReadings, values: ArrayLike, clock_s: FloatArray) -> FloatArray:
    column = np.broadcast_to(np.asarray(values, dtype=np.float64), np.shape(readings.clock_s))
    return np.asarray(np.interp(clock_s, readings.clock_s, column))
