"""When the car turns: more lateral acceleration than a straight asks for, from whichever channel tells."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from server.analysis.intervals import Intervals, lasting, where
from server.analysis.pass_options import PassOptions
from server.analysis.smoothing import smoothed
from server.analysis.speed_series import SpeedSeries
from server.testday.values import FloatArray, Signal

YAW_S = 0.5
LATERAL_S = 1.0
COURSE_S = 2.0
SHORTEST_S = 0.5
SLOWEST_MPS = 3.0
SLOWEST_PLACE_S = 1.2


def turns(signals: Mapping[str, Signal], series: SpeedSeries, options: PassOptions) -> Intervals | None:
    """Turning by yaw rate, lateral acceleration, heading, place or steering; None where none is there."""
    lateral = lateral_acceleration(signals, series)
    if lateral is not None:
        time, acceleration = lateral
        return lasting(where(time, np.abs(acceleration) > options.turn_mps2), SHORTEST_S)
    steering = signals.get("steering_angle")
    if steering is None or len(steering.time_s) < 5:
        return None
    angle = smoothed(steering, YAW_S)
    fast = series.at(steering.time_s) > SLOWEST_MPS
    straight = float(np.median(angle[fast])) if fast.any() else 0.0
    return lasting(where(steering.time_s, np.abs(angle - straight) > options.turn_steering_rad), SHORTEST_S)


def lateral_acceleration(signals: Mapping[str, Signal], series: SpeedSeries) -> tuple[FloatArray, FloatArray] | None:
    """Time [s] and smoothed lateral acceleration [m/s²] without offset; None where no channel tells."""
    yaw = signals.get("yaw_rate")
    if yaw is not None and len(yaw.time_s) >= 5:
        rate = smoothed(yaw, YAW_S)
        return yaw.time_s, (rate - offset(yaw, series)) * series.at(yaw.time_s)
    sideways = signals.get("accel_lat")
    if sideways is not None and len(sideways.time_s) >= 5:
        return sideways.time_s, smoothed(sideways, LATERAL_S) - offset(sideways, series)
    track = course(signals, series)
    if track is None:
        return None
    time, angle = track
    rate = np.gradient(angle, time)
    moving = series.at(time) > SLOWEST_MPS
    return time, np.where(moving, smoothed(Signal(time, rate), COURSE_S) * series.at(time), 0.0)


def offset(signal: Signal, series: SpeedSeries) -> float:
    """What a rate or acceleration reads on the straight: its median while the car is fast, else of all."""
    speed = series.at(signal.time_s)
    fast = speed > max(SLOWEST_MPS, 0.5 * float(np.max(series.block_mps)))
    return float(np.median(signal.values[fast])) if np.count_nonzero(fast) > 10 else 0.0


def course(signals: Mapping[str, Signal], series: SpeedSeries) -> tuple[FloatArray, FloatArray] | None:
    """Time [s] and course [rad, unwrapped, clockwise from north] from heading, else from the track."""
    heading = signals.get("heading")
    if heading is not None and len(heading.time_s) >= 5:
        return heading.time_s, np.unwrap(heading.values)
    return _track_course(signals, series)


def _track_course(signals: Mapping[str, Signal], series: SpeedSeries) -> tuple[FloatArray, FloatArray] | None:
    """Course over two seconds of latitude and longitude, held where the car stands."""
    place = track(signals)
    if place is None or float(np.median(np.diff(place[0]))) > SLOWEST_PLACE_S:
        return None
    time, east, north = place
    ahead, behind = time + 0.5 * COURSE_S, time - 0.5 * COURSE_S
    dx = np.interp(ahead, time, east) - np.interp(behind, time, east)
    dy = np.interp(ahead, time, north) - np.interp(behind, time, north)
    moving = series.at(time) > SLOWEST_MPS
    if np.count_nonzero(moving) < 5:
        return None
    return time[moving], np.unwrap(np.arctan2(dx[moving], dy[moving]))


def track(signals: Mapping[str, Signal]) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Time [s], east and north [m] from the first place, new places only; None without them."""
    latitude, longitude = signals.get("latitude"), signals.get("longitude")
    if latitude is None or longitude is None or len(latitude.time_s) < 5 or len(longitude.time_s) < 5:
        return None
    time = latitude.time_s
    radius = 6_371_008.8  # mean radius of the Earth, IUGG
    north = (latitude.values - latitude.values[0]) * radius
    along = np.interp(time, longitude.time_s, longitude.values)
    east = (along - along[0]) * radius * np.cos(latitude.values[0])
    new = np.concatenate([[True], (np.diff(east) != 0.0) | (np.diff(north) != 0.0)])
    if np.count_nonzero(new) < 5:
        return None
    return time[new], east[new], north[new]
