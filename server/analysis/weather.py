"""The day's air and wind as the fit needs them: density over the day, head and cross wind readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.aero.air import air_density
from server.testday.values import Day, FloatArray, Quantity, WeatherReading

NOON_S = 43_200.0


@dataclass(frozen=True, slots=True)
class DensityPart:
    """What one u of a reading does to the density: its share of it, positive, and the sign it has."""

    name: str
    label: str
    input: Quantity
    share: float
    sign: float
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class DayAir:
    """Air of a day. density(clock) by interpolation between readings; density_parts: one per input.

    wind_clock_s, head_wind_mps: readings as head wind in the 'out' sense, (k,), with their covariance
    (k, k): reading, and how far a mast's wind is from the car's. cross_excess [m²/s²]: (1 + k_β) w_y².
    """

    clock_s: FloatArray
    density_kgm3: FloatArray
    density_parts: tuple[DensityPart, ...]
    wind_clock_s: FloatArray
    head_wind_mps: FloatArray
    head_wind_cov: FloatArray
    cross_excess: Quantity
    mean_pressure_pa: float
    mean_temperature_k: float
    mean_humidity: float
    timed: bool = True

    def away_h(self, clock_s: float) -> float:
        """Hours outside the readings' times, negative before them; 0 between them or where none has a time."""
        return float((clock_s - np.clip(clock_s, self.clock_s[0], self.clock_s[-1])) / 3600.0) if self.timed else 0.0

    def density(self, clock_s: float) -> float:
        """Air density [kg/m³] at a clock time [s after midnight]; the nearest reading outside them."""
        return float(np.interp(clock_s, self.clock_s, self.density_kgm3))


def day_air(day: Day, yaw_growth: Quantity, cross_sd_mps: float) -> DayAir:
    """Density and wind of a day from its readings; raises ValueError where there is no reading."""
    if not day.weather:
        raise ValueError("day: no weather reading")
    timed = [r for r in day.weather if r.clock_s is not None]
    readings = sorted(timed or day.weather, key=_clock)
    clock = np.array([_clock(r) for r in readings])
    density = np.array(
        [air_density(r.pressure_pa.value, r.temperature_k.value, r.humidity.value) for r in readings], dtype=float
    )
    if not timed:
        clock, density = clock[:1], np.array([float(np.mean(density))])
    winds = [r for r in day.weather if r.wind_speed_mps is not None and r.wind_from_rad is not None]
    heading = day.venue.heading_rad
    head, cross, head_u = _components(winds, heading)
    wind_clock = np.array([_clock(r) for r in winds]) if len(head) else np.empty(0)
    cov = np.diag(head_u**2 + 0.3**2) + 0.4**2 + 0.25**2 * np.outer(head, head) if len(head) else np.empty((0, 0))
    return DayAir(
        clock_s=clock,
        density_kgm3=density,
        density_parts=_density_parts(readings),
        wind_clock_s=wind_clock,
        head_wind_mps=head,
        head_wind_cov=cov,
        cross_excess=_cross_excess(cross, yaw_growth, cross_sd_mps),
        mean_pressure_pa=float(np.mean([r.pressure_pa.value for r in readings])),
        mean_temperature_k=float(np.mean([r.temperature_k.value for r in readings])),
        mean_humidity=float(np.mean([r.humidity.value for r in readings])),
        timed=bool(timed),
    )


def _clock(reading: WeatherReading) -> float:
    return NOON_S if reading.clock_s is None else reading.clock_s


def _components(winds: list[WeatherReading], heading_rad: float | None) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Head wind against 'out', cross wind and u of the head wind [m/s]; empty without a heading."""
    if heading_rad is None or not winds:
        return np.empty(0), np.empty(0), np.empty(0)
    speed = np.array([r.wind_speed_mps.value for r in winds if r.wind_speed_mps])
    speed_u = np.array([r.wind_speed_mps.u for r in winds if r.wind_speed_mps])
    angle = np.array([r.wind_from_rad.value for r in winds if r.wind_from_rad]) - heading_rad
    angle_u = np.array([r.wind_from_rad.u for r in winds if r.wind_from_rad])
    head, cross = speed * np.cos(angle), speed * np.sin(angle)
    return head, cross, np.hypot(speed_u * np.cos(angle), speed * np.sin(angle) * angle_u)


def _cross_excess(cross_mps: FloatArray, yaw_growth: Quantity, cross_sd_mps: float) -> Quantity:
    """(1 + k_β) w_y² [m²/s²]: what the cross wind adds to U² of the drag, with its u."""
    if len(cross_mps):
        square, spread = float(np.mean(cross_mps**2)) + 0.25, float(np.mean(np.abs(cross_mps))) * 0.8 + 0.25
        source = "typed"
    else:
        square, spread = cross_sd_mps**2, 1.4 * cross_sd_mps**2
        source = "default"
    factor = 1.0 + yaw_growth.value
    u = float(np.hypot(yaw_growth.u * square, factor * spread))
    return Quantity(factor * square, u, source)  # type: ignore[arg-type]


def _density_parts(readings: list[WeatherReading]) -> tuple[DensityPart, ...]:
    """Relative change of density for one u of pressure, temperature and humidity (shared by all readings)."""
    middle = readings[len(readings) // 2]
    p, t, h = middle.pressure_pa, middle.temperature_k, middle.humidity
    base = float(air_density(p.value, t.value, h.value))
    wet = h.value - h.u if h.value + h.u > 1.0 else h.value + h.u
    moved = [
        ("pressure", "air pressure", p, float(air_density(p.value + p.u, t.value, h.value)), 1.0, "Pa"),
        ("temperature", "air temperature", t, float(air_density(p.value, t.value + t.u, h.value)), -1.0, "K"),
        ("humidity", "humidity", h, float(air_density(p.value, t.value, max(wet, 0.0))), -1.0, "–"),
    ]
    return tuple(
        DensityPart(name, label, q, max(abs(density / base - 1.0), 1e-7), sign, unit)
        for name, label, q, density, sign, unit in moved
    )
