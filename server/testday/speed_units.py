"""The unit of a speed that carries none, told by the log's positions or by a speed that has one.

Distances over windows of the drive are compared with the sum of the readings; windows are chosen by the
readings alone, so that a receiver that holds its position for a while and then jumps does not bias them.
"""

from __future__ import annotations

import math

import numpy as np

from server.testday.units import unit_of
from server.testday.values import FloatArray, Signal

EARTH_RADIUS_M = 6_371_008.8  # mean radius, IUGG
_CANDIDATES = ("m/s", "km/h", "mph", "knots")
_WINDOWS, _MIN_WINDOWS, _LEGS = 12, 5, 5
_WINDOW_RANGE_S = (5.0, 120.0)
_MOVING_SHARE = 0.3
_MAX_DEVIATION = 0.12


def unit_from_positions(
    time_s: FloatArray, readings: FloatArray, latitude: Signal, longitude: Signal
) -> str | None:
    """Tell a speed's unit from the distance between positions; None where they do not tell.

    readings: the speed as logged, shape (n,), at time_s. latitude, longitude [rad].
    """
    edges = _edges(time_s, latitude.time_s)
    lat = np.interp(edges, latitude.time_s, latitude.values)
    lon = np.interp(edges, longitude.time_s, longitude.values)
    north, east = np.diff(lat), np.diff(lon) * np.cos(0.5 * (lat[1:] + lat[:-1]))
    return _unit_told(np.hypot(north, east) * EARTH_RADIUS_M, _sums(time_s, readings, edges))


def unit_from_speed(time_s: FloatArray, readings: FloatArray, known: Signal) -> str | None:
    """Tell a speed's unit from another speed [m/s] of the same car; None where it does not tell."""
    edges = _edges(time_s, known.time_s)
    return _unit_told(_sums(known.time_s, known.values, edges), _sums(time_s, readings, edges))


def _edges(one: FloatArray, other: FloatArray) -> FloatArray:
    """Ends of the legs, five to a window, over the time that both cover; empty where that is short."""
    start, stop = max(float(one[0]), float(other[0])), min(float(one[-1]), float(other[-1]))
    window = min(max((stop - start) / _WINDOWS, _WINDOW_RANGE_S[0]), _WINDOW_RANGE_S[1])
    count = int(max(stop - start, 0.0) / window)
    return np.asarray(start + window / _LEGS * np.arange(count * _LEGS + 1)) if count else np.empty(0)


def _sums(time_s: FloatArray, values: FloatArray, edges: FloatArray) -> FloatArray:
    """Areas under the straight lines between samples, leg by leg."""
    area = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time_s))])
    return np.asarray(np.diff(np.interp(edges, time_s, area)))


def _unit_told(distance_m: FloatArray, sums: FloatArray) -> str | None:
    """The unit whose scale the median of distance over sum of readings meets, two u nearer than any other."""
    count = len(sums) // _LEGS
    if count < _MIN_WINDOWS:
        return None
    distances, totals = (x.reshape(count, _LEGS).sum(axis=1) for x in (distance_m, sums))
    moving = totals > max(_MOVING_SHARE * float(np.quantile(totals, 0.95)), 0.0)
    ratios = distances[moving] / totals[moving]
    if len(ratios) < _MIN_WINDOWS or float(np.median(ratios)) <= 0.0:
        return None
    low, middle, high = np.quantile(ratios, [0.25, 0.5, 0.75])
    u_log = 0.93 * float(high - low) / middle / math.sqrt(len(ratios))  # of a median: 1.2533 · IQR/1.349 / √n
    away = sorted((abs(math.log(middle / unit_of(unit).scale)), unit) for unit in _CANDIDATES)
    (nearest, unit), (second, _) = away[:2]
    return unit if nearest < min(_MAX_DEVIATION, 0.5 * (nearest + second) - 2.0 * u_log) else None
