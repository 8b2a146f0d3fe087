"""Each fault of a channel is found, said once, and left out; a healthy channel is left alone."""

from __future__ import annotations

import numpy as np
import pytest

from server.analysis.signal_checks import check_signal, check_signals
from server.testday.findings import CODES
from server.testday.values import Finding, Recording, Signal
from tests.analysis.driven_runs import (
    draw_body,
    draw_script,
    drive,
    fine,
    made_run,
    satellite_speed,
    wheel_speed,
)

RNG = np.random.default_rng(11)
TRUTH = drive(draw_script(RNG, 4), draw_body(RNG), RNG)


def wheel(rate: float = 100.0, step: float = 0.05, seed: int = 1) -> Signal:
    return wheel_speed(TRUTH, np.random.default_rng(seed), rate, step)


def satellite(rate: float = 10.0, sigma: float = 0.1) -> Signal:
    return satellite_speed(TRUTH, np.random.default_rng(2), rate, sigma)


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [f.code for f in findings]


def fast_index(signal: Signal, at: int = 100, least: float = 9.0) -> int:
    return int(np.flatnonzero(signal.values > least)[at])


@pytest.mark.parametrize(
    "signal",
    [wheel(100.0), wheel(20.0, 0.28), satellite(1.0), satellite(10.0, 0.3), satellite(25.0, 0.05)],
    ids=["wheel 100 Hz", "coarse wheel 20 Hz", "satellite 1 Hz", "noisy satellite", "satellite 25 Hz"],
)
def test_a_healthy_speed_is_left_alone(signal: Signal) -> None:
    checked = check_signal(signal, signal.name)
    assert checked.findings == ()
    assert checked.clean is signal


def test_a_healthy_damper_is_left_alone() -> None:
    time = np.arange(0.0, 60.0, 0.01)
    travel = 0.01 + 0.004 * np.sin(time) + np.random.default_rng(1).normal(0.0, 1e-4, len(time))
    assert check_signal(Signal(time, travel, "d"), "damper_fl").findings == ()


def test_spikes_are_left_out_and_said_once_with_place_and_time() -> None:
    signal = wheel()
    values = signal.values.copy()
    first = fast_index(signal)
    where = [first, first + 400, first + 900]
    values[where] += 6.0
    checked = check_signal(Signal(signal.time_s, values, "vFL"), "wheel_speed_fl", 3)
    np.testing.assert_array_equal(np.flatnonzero(checked.bad), where)
    assert len(checked.clean.time_s) == len(values) - 3
    (finding,) = checked.findings
    assert finding.code == "spikes"
    assert finding.run == 3
    assert finding.start_s == pytest.approx(signal.time_s[first])
    assert "'vFL' (wheel_speed_fl) has 3 samples" in finding.text


def test_a_frozen_speed_is_left_out_where_it_froze() -> None:
    signal = wheel(50.0)
    values = signal.values.copy()
    i = fast_index(signal)
    values[i : i + 150] = values[i]
    checked = check_signal(Signal(signal.time_s, values, "v"), "vehicle_speed")
    assert codes(checked.findings) == ["flat-lined"]
    assert not checked.bad[: i + 1].any()
    assert checked.bad[i + 1 : i + 150].all()


def test_steady_driving_with_a_coarse_speed_is_not_frozen() -> None:
    time = np.arange(0.0, 60.0, 0.1)
    speed = np.round((15.0 + 0.4 * np.sin(time / 4.0)) / 0.28) * 0.28
    assert check_signal(Signal(time, speed, "v"), "vehicle_speed").findings == ()


def test_a_flat_damper_is_a_fault_only_while_the_car_moves() -> None:
    time = np.arange(0.0, 60.0, 0.02)
    travel = 0.01 + np.random.default_rng(1).normal(0.0, 2e-4, len(time))
    travel[500:700] = travel[500]
    moving = np.array([[5.0, 55.0]])
    assert codes(check_signal(Signal(time, travel, "d"), "damper_fl", 1, moving).findings) == ["flat-lined"]
    standing = np.array([[20.0, 55.0]])
    assert check_signal(Signal(time, travel, "d"), "damper_fl", 1, standing).findings == ()


def test_a_clipped_range_is_found() -> None:
    time = np.arange(0.0, 60.0, 0.01)
    travel = 0.02 * np.sin(time) + np.random.default_rng(1).normal(0.0, 1e-4, len(time))
    checked = check_signal(Signal(time, np.minimum(travel, 0.018), "d"), "damper_fl")
    assert codes(checked.findings) == ["clipped"]
    assert checked.bad.sum() == (travel >= 0.018).sum()


def test_a_speed_that_drops_to_nothing_and_back_is_left_out() -> None:
    signal = wheel(50.0)
    values = signal.values.copy()
    i = fast_index(signal)
    values[i : i + 40] = 0.0
    checked = check_signal(Signal(signal.time_s, values, "v"), "wheel_speed_fl")
    assert "sensor-lost" in codes(checked.findings)
    np.testing.assert_array_equal(np.flatnonzero(checked.bad), np.arange(i, i + 40))


def test_a_slow_sensor_in_a_fast_log_gives_its_new_values_only() -> None:
    slow = satellite(5.0)
    time = np.arange(slow.time_s[0], slow.time_s[-1], 0.01)
    held = Signal(time, slow.values[np.searchsorted(slow.time_s, time + 1e-9) - 1], "v")
    checked = check_signal(held, "gps_speed")
    assert checked.every == 20
    assert codes(checked.findings) == ["repeated-values"]
    assert not checked.bad.any()
    np.testing.assert_allclose(checked.clean.values, slow.values[: len(checked.clean.values)])


def test_samples_that_are_no_numbers_are_left_out() -> None:
    signal = satellite()
    values = signal.values.copy()
    values[100:103] = np.nan
    checked = check_signal(Signal(signal.time_s, values, "v"), "gps_speed")
    assert codes(checked.findings) == ["not-a-number"]
    assert len(checked.clean.values) == len(values) - 3


def test_a_channel_that_drops_out_alone_is_said() -> None:
    one = satellite()
    keep = (one.time_s < 40.0) | (one.time_s > 42.5)
    holed = Signal(one.time_s[keep], one.values[keep], "v")
    run = made_run({"gps_speed": holed, "vehicle_speed": wheel()})
    found = [f for f in check_signals(run) if f.code == "dropouts"]
    assert len(found) == 1
    assert "once, longest 2." in found[0].text


def test_a_place_that_stands_still_while_the_car_moves() -> None:
    latitude = fine(TRUTH, 0.7 + TRUTH.y / 6.37e6, 10.0, "lat")
    longitude = fine(TRUTH, 0.1 + TRUTH.x / 6.37e6, 10.0, "lon")
    healthy = made_run({"latitude": latitude, "longitude": longitude, "vehicle_speed": wheel()})
    assert check_signals(healthy) == ()
    values = latitude.values.copy(), longitude.values.copy()
    i = int(np.searchsorted(latitude.time_s, TRUTH.coasts()[0].start_s))
    for each in values:
        each[i : i + 60] = each[i]
    frozen = {
        "latitude": Signal(latitude.time_s, values[0], "lat"),
        "longitude": Signal(latitude.time_s, values[1], "lon"),
    }
    found = check_signals(made_run(frozen | {"vehicle_speed": wheel()}))
    assert codes(found) == ["gps-frozen"]
    assert found[0].start_s == pytest.approx(latitude.time_s[i], abs=0.3)


def test_a_wheel_that_was_lost_for_long() -> None:
    left, right = wheel(50.0), wheel(50.0, seed=3)
    values = right.values.copy()
    values[fast_index(right) :] = 0.0
    run = made_run({"wheel_speed_fl": left, "wheel_speed_fr": Signal(right.time_s, values, "vFR")})
    assert "wheel-speed-lost" in codes(check_signals(run))


def test_left_and_right_and_the_satellite_disagree() -> None:
    left, right = wheel(50.0), wheel(50.0, seed=3)
    larger = Signal(right.time_s, 1.05 * right.values, "vFR")
    found = check_signals(made_run({"wheel_speed_fl": left, "wheel_speed_fr": larger}))
    assert codes(found) == ["wheels-disagree"]
    assert "-4.8 %" in found[0].text
    own = Signal(left.time_s, 0.93 * left.values, "v")
    found = check_signals(made_run({"vehicle_speed": own, "gps_speed": satellite()}))
    assert codes(found) == ["speed-scale"]
    share = float(found[0].text.split("is ")[1].split(" %")[0])
    assert share == pytest.approx(-7.0, abs=0.2)


def test_driven_wheels_may_slip() -> None:
    left, right = wheel(50.0), wheel(50.0, seed=3)
    larger = Signal(right.time_s, 1.05 * right.values, "vRR")
    signals = {"wheel_speed_rl": left, "wheel_speed_rr": larger}
    assert check_signals(made_run(signals), driven="rear") == ()
    assert codes(check_signals(made_run(signals), driven="front")) == ["wheels-disagree"]


def test_two_speeds_that_part_for_a_while() -> None:
    own, sat = wheel(50.0), satellite()
    values = sat.values.copy()
    i = fast_index(sat, 20, 12.0)
    values[i : i + 40] -= 6.0
    run = made_run({"vehicle_speed": own, "gps_speed": Signal(sat.time_s, values, "g")})
    (found,) = [f for f in check_signals(run) if f.code == "speeds-disagree"]
    assert found.start_s == pytest.approx(sat.time_s[i], abs=0.5)


def test_one_finding_per_kind_and_channel() -> None:
    signal = wheel()
    values = signal.values.copy()
    values[fast_index(signal) :: 300] += 7.0
    run = made_run({"wheel_speed_fl": Signal(signal.time_s, values, "v"), "wheel_speed_fr": wheel(seed=4)})
    found = [f for f in check_signals(run) if f.code == "spikes"]
    assert len(found) == 1


def test_every_code_is_listed() -> None:
    signal = wheel()
    values = signal.values.copy()
    values[fast_index(signal)] += 7.0
    run = made_run({"wheel_speed_fl": Signal(signal.time_s, values, "v")})
    assert {f.code for f in check_signals(run)} <= CODES.keys()


def test_controls_and_temperatures_are_not_checked() -> None:
    time = np.arange(0.0, 20.0, 0.1)
    held = Signal(time, np.full(len(time), 40.0), "t")
    run = made_run({"tyre_temperature_fl": held, "gear": held, "throttle": held, "clutch": held})
    assert check_signals(run) == ()
    assert isinstance(run.recordings[0], Recording)
