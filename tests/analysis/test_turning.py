"""A turn is seen in whichever channel is there, and a straight is none."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from server.analysis.intervals import covered_s
from server.analysis.pass_options import PassOptions
from server.analysis.speed_series import speed_series
from server.analysis.turning import turns
from server.testday.values import Signal

RATE = 20.0
TIME = np.arange(0.0, 60.0, 1.0 / RATE)
SPEED = np.full(len(TIME), 12.0)
YAW = np.where((TIME > 25.0) & (TIME < 33.0), np.pi / 8.0, 0.0)
HEADING = 1.2 + np.cumsum(YAW) / RATE
NORTH = np.cumsum(SPEED * np.cos(HEADING)) / RATE
EAST = np.cumsum(SPEED * np.sin(HEADING)) / RATE
LATITUDE0 = 0.8
SERIES = speed_series(Signal(TIME, SPEED), 2.0)


def signals(kind: str) -> Mapping[str, Signal]:
    rng = np.random.default_rng(5)
    noise = rng.standard_normal(len(TIME))
    if kind == "yaw_rate":
        return {kind: Signal(TIME, YAW + 0.02 + 0.02 * noise)}
    if kind == "accel_lat":
        return {kind: Signal(TIME, YAW * SPEED + 0.3 + 0.5 * noise)}
    if kind == "heading":
        return {kind: Signal(TIME, (HEADING + 0.005 * noise) % (2 * np.pi))}
    if kind == "steering_angle":
        return {kind: Signal(TIME, 0.05 + 0.6 * (YAW > 0) + 0.02 * noise)}
    slow = slice(None, None, 4)
    radius = 6_371_008.8
    latitude = LATITUDE0 + (NORTH + 0.1 * noise) / radius
    longitude = 0.3 + (EAST + 0.1 * noise[::-1]) / radius / np.cos(LATITUDE0)
    return {"latitude": Signal(TIME[slow], latitude[slow]), "longitude": Signal(TIME[slow], longitude[slow])}


@pytest.mark.parametrize("kind", ["yaw_rate", "accel_lat", "heading", "steering_angle", "place"])
def test_the_turn_and_nothing_else(kind: str) -> None:
    found = turns(signals(kind), SERIES, PassOptions())
    assert found is not None
    assert covered_s(found, 25.5, 32.5) == pytest.approx(7.0, abs=0.1)
    assert covered_s(found, 0.0, 22.5) == 0.0
    assert covered_s(found, 35.5, 60.0) == 0.0


def test_no_channel_is_none() -> None:
    assert turns({}, SERIES, PassOptions()) is None


def test_a_place_that_is_renewed_too_seldom_is_none() -> None:
    place = {role: Signal(s.time_s[::25], s.values[::25]) for role, s in signals("place").items()}
    assert turns(place, SERIES, PassOptions()) is None
