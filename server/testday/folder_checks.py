"""Doubts about a day's numbers that are each possible by themselves."""

from __future__ import annotations

import math

from server.testday.values import Finding, Venue, WeatherReading

SEA_LEVEL_PA = 101_325.0
NOTICE = 0.01
WEATHER_CAN_DO = 0.03
_LOWEST_WITHOUT_ALTITUDE_PA = 90_000.0


def standard_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere below 11 km [Pa].

    p = 101325 (1 − 0.0065 H / 288.15)^5.25588 with geopotential H = r h / (r + h).

    Source: ISO 2533:1975 (T0 = 288.15 K, 6.5 K/km, R = 287.05287 J/(kg K), g = 9.80665 m/s²,
    r = 6,356,766 m).
    """
    geopotential_m = 6_356_766.0 * altitude_m / (6_356_766.0 + altitude_m)
    exponent = 9.80665 / (287.05287 * 0.0065)
    return SEA_LEVEL_PA * math.pow(1.0 - 0.0065 * geopotential_m / 288.15, exponent)


def doubts(file: str, venue: Venue, weather: tuple[WeatherReading, ...]) -> list[Finding]:
    """Return the findings on pressure against altitude and on humidity written as a fraction."""
    return [*_pressure_doubt(file, venue, weather), *_humidity_doubt(file, weather)]


def _pressure_doubt(file: str, venue: Venue, weather: tuple[WeatherReading, ...]) -> list[Finding]:
    pressure = math.fsum(reading.pressure_pa.value for reading in weather) / len(weather)
    place = f"{file}: [[weather]] pressure_hpa"
    if venue.altitude_m is None:
        if pressure >= _LOWEST_WITHOUT_ALTITUDE_PA:
            return []
        text = f"{place} is {pressure / 100:.0f} on average, as on a mountain; [venue] altitude_m would tell."
        return [Finding("pressure-altitude", "check", text)]
    standard = standard_pressure_pa(venue.altitude_m)
    off = pressure / standard - 1.0
    if abs(off) <= NOTICE:
        return []
    side = "above" if off > 0 else "below"
    text = (
        f"{place} is {pressure / 100:.1f} on average, {abs(off):.1%} {side} the standard "
        f"atmosphere at {venue.altitude_m:g} m ({standard / 100:.1f} hPa); {_meaning(off, standard)}."
    )
    return [Finding("pressure-altitude", "check" if abs(off) > WEATHER_CAN_DO else "note", text)]


def _meaning(off: float, standard: float) -> str:
    """Say what a disagreement may mean: weather, or a pressure reduced to sea level."""
    seldom = "weather seldom moves it that far" if abs(off) > WEATHER_CAN_DO else "weather can do that"
    reduced = SEA_LEVEL_PA / standard - 1.0
    if off > 0 and reduced > NOTICE:
        return (
            f"{seldom}, but so does a reading reduced to sea level, as forecasts and airfields give it: "
            f"here that puts air density {reduced:.1%} too high and areas as much too low. "
            "Use the pressure at the station"
        )
    return f"{seldom}; check the barometer and the altitude"


def _humidity_doubt(file: str, weather: tuple[WeatherReading, ...]) -> list[Finding]:
    low = [reading.humidity.value for reading in weather if 0.0 < reading.humidity.value <= 0.01]
    if not low:
        return []
    text = (
        f"{file}: [[weather]] humidity_pct is {100 * low[0]:g} and is read as per cent; "
        f"if a share of 1 was meant, write {10_000 * low[0]:g}."
    )
    return [Finding("humidity-share", "check", text)]
