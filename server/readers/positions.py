"""Latitude and longitude as loggers write them: degrees and minutes, with or without N, S, E, W, to degrees.

3359.1735N is 33° + 59.1735′ (the layout of NMEA 0183 sentences, an open standard); so are 33°59.1735′ and
33° 59′ 10.4″.
"""

from __future__ import annotations

import math
import re

import numpy as np

from server.testday.values import FloatArray

_PARTS = re.compile(r"\d+(?:[.,]\d+)?", re.ASCII)
_SIDE = re.compile(r"[NSEW]", re.IGNORECASE)
_LATITUDE = re.compile(
    r"(?:.*[^a-z])?lat(?:itude|itud)?(?:[^a-z].*)?|(?:gps|gnss)lat(?:itude)?", re.IGNORECASE
)
_LONGITUDE = re.compile(
    r"(?:.*[^a-z])?(?:lon|long|lng|longitude|longitud)(?:[^a-z].*)?|(?:gps|gnss)lon(?:g|gitude)?",
    re.IGNORECASE,
)

_FORCE = re.compile(r"acc|force|speed|vel|(?:^|[^a-z])g(?:[^a-z]|$)", re.IGNORECASE)


def is_latitude(name: str) -> bool:
    """Tell whether a column's name is that of a latitude."""
    return bool(_LATITUDE.fullmatch(name)) and not _FORCE.search(name)


def is_longitude(name: str) -> bool:
    """Tell whether a column's name is that of a longitude."""
    return bool(_LONGITUDE.fullmatch(name)) and not _FORCE.search(name)


def angle_degrees(text: str) -> float:
    """Read an angle with signs or a side of the compass [deg], south and west negative; NaN if unreadable."""
    parts = [float(part.replace(",", ".")) for part in _PARTS.findall(text)]
    if not parts or len(parts) > 3 or any(part >= 60.0 for part in parts[1:]):
        return math.nan
    degrees = sum(part / 60.0**power for power, part in enumerate(parts))
    if len(parts) == 1 and "°" not in text and "º" not in text and parts[0] > 180.0:
        degrees = float(from_degree_minutes(np.array(parts))[0])
    side = _SIDE.search(text)
    negative = text.strip().startswith("-") or (side is not None and side[0] in "sSwW")
    return -degrees if negative else degrees


def from_degree_minutes(values: FloatArray) -> FloatArray:
    """Turn ddmm.mmmm into degrees: whole hundreds are degrees, the rest minutes [deg]."""
    values = np.where(np.isinf(values), np.nan, values)
    size = np.abs(values)
    degrees = np.floor(size / 100.0)
    return np.asarray(np.sign(values) * (degrees + (size - 100.0 * degrees) / 60.0))


def is_degree_minutes(values: FloatArray, limit_deg: float) -> bool:
    """Tell whether numbers can only be ddmm.mmmm: most beyond the limit as degrees, minutes below 60."""
    size = np.abs(values[np.isfinite(values) & (values != 0.0)])
    if not len(size):
        return False
    beyond = float(np.mean((size > limit_deg) & (size < 100.0 * limit_deg + 60.0)))
    return beyond > 0.5 and float(np.mean(size % 100.0 < 60.0)) > 0.99
