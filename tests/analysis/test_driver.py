"""Throttle, brake, torque, gear and clutch as times: any unit, any polarity, channels that tell nothing."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.driver import driver_of
from server.analysis.pass_options import OPTION_HELP, PassOptions
from server.testday.values import Signal

TIME = np.arange(0.0, 40.0, 0.05)
DRIVEN = (TIME > 5.0) & (TIME < 15.0)
BRAKED = (TIME > 28.0) & (TIME < 31.0)
OPTIONS = PassOptions()


def signal(values: np.ndarray) -> Signal:
    return Signal(TIME, values.astype(np.float64), "c")


@pytest.mark.parametrize(("offset", "full"), [(0.02, 0.97), (2.0, 96.0), (12.0, 88.0), (410.0, 3500.0)])
def test_throttle_in_any_unit(offset: float, full: float) -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.002 * full, len(TIME))
    driver = driver_of({"throttle": signal(offset + (full - offset) * DRIVEN + noise)}, OPTIONS, 1)
    assert driver.throttle is not None
    np.testing.assert_allclose(driver.throttle, [[5.0, 15.0]], atol=0.11)
    assert driver.drive_seen
    assert driver.findings == ()


@pytest.mark.parametrize("values", [np.zeros(len(TIME)), np.full(len(TIME), 30.0), 60.0 + 20.0 * DRIVEN])
def test_a_throttle_that_tells_nothing(values: np.ndarray) -> None:
    driver = driver_of({"throttle": signal(values)}, OPTIONS, 7)
    assert driver.throttle is None
    assert [(f.code, f.run) for f in driver.findings] == [("channel-silent", 7)]


def test_brake_pressure_with_noise_and_offset() -> None:
    noise = np.random.default_rng(1).normal(0.0, 1e4, len(TIME))
    driver = driver_of({"brake_pressure": signal(3e4 + 2.5e6 * BRAKED + noise)}, OPTIONS, 1)
    assert driver.brake is not None
    np.testing.assert_allclose(driver.brake, [[28.0, 31.0]], atol=0.11)


def test_a_brake_switch_and_a_single_false_sample() -> None:
    values = BRAKED.astype(np.float64)
    values[100] = 1.0
    driver = driver_of({"brake_pressure": signal(values)}, OPTIONS, 1)
    assert driver.brake is not None
    np.testing.assert_allclose(driver.brake, [[28.0, 31.0]], atol=0.11)


def test_a_brake_that_is_only_noise_tells_nothing() -> None:
    noise = np.random.default_rng(1).normal(2e4, 1e4, len(TIME))
    driver = driver_of({"brake_pressure": signal(noise)}, OPTIONS, 1)
    assert driver.brake is None
    assert [f.code for f in driver.findings] == ["channel-silent"]


def test_torque_pushes_and_brakes() -> None:
    torque = 80.0 * DRIVEN - 25.0 * ((TIME > 20.0) & (TIME < 26.0))
    driver = driver_of({"motor_torque": signal(torque)}, OPTIONS, 1)
    assert driver.pushing is not None
    assert driver.regenerating is not None
    np.testing.assert_allclose(driver.pushing, [[5.0, 15.0]], atol=0.11)
    np.testing.assert_allclose(driver.regenerating, [[20.0, 26.0]], atol=0.11)


def test_gear_and_clutch_free_the_driveline() -> None:
    gear = np.where((TIME > 15.5) & (TIME < 27.0), 0.0, 3.0)
    driver = driver_of({"gear": signal(gear)}, OPTIONS, 1)
    assert driver.free is not None
    assert driver.engaged is not None
    np.testing.assert_allclose(driver.free, [[15.5, 27.0]], atol=0.11)
    np.testing.assert_allclose(driver.engaged, [[0.0, 15.5], [27.0, 40.0]], atol=0.11)


@pytest.mark.parametrize("inverted", [False, True])
def test_a_clutch_of_either_polarity(inverted: bool) -> None:
    pressed = (TIME > 15.5) & (TIME < 27.0)
    values = 1.0 - pressed if inverted else pressed.astype(np.float64)
    driver = driver_of({"clutch": signal(100.0 * values), "throttle": signal(100.0 * DRIVEN)}, OPTIONS, 1)
    assert driver.free is not None
    np.testing.assert_allclose(driver.free, [[15.5, 27.0]], atol=0.11)
    assert driver.clutch_told


def test_gear_and_clutch_that_never_move_tell_nothing() -> None:
    driver = driver_of({"gear": signal(np.ones(len(TIME))), "clutch": signal(np.zeros(len(TIME)))}, OPTIONS, 1)
    assert driver.free is None
    assert driver.engaged is None
    assert not driver.clutch_told


def test_every_option_is_explained_with_its_unit_and_a_negative_one_is_named() -> None:
    assert OPTION_HELP.keys() == set(PassOptions.__dataclass_fields__)
    assert all("[" in text for text in OPTION_HELP.values())
    with pytest.raises(ValueError, match="min_length_s"):
        PassOptions(min_length_s=-1.0)
