"""Scale, growth, delay and lag from two speeds whose relation is known; clocks of two recordings."""

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.clock_offsets import align_recordings, speed_offset
from server.analysis.speed_scale import fit_speed_scale
from server.testday.values import Recording, Run, Signal
from tests.simulator import Scenario, draw_day

CAR = draw_day(1, Scenario()).day.car


def drive(*, kappa0: float, kappa2: float, delay: float, lag: float, noise: float, seed: int = 1) -> Run:
    """Accelerate, coast, accelerate, brake gently, twice; wheel at 100 Hz, satellite at 10 Hz."""
    time = np.arange(0.0, 120.0, 0.01)
    true = np.interp(time, [0, 6, 20, 26, 45, 60, 66, 85, 95, 120], [2, 28, 12, 27, 8, 8, 29, 9, 20, 4])
    wheel_time = np.interp(np.arange(len(time)), np.arange(len(time)), time - lag / np.maximum(true, 2.0))
    v = np.interp(wheel_time, time, true)
    wheel = v * (1.0 + kappa0 + kappa2 * (v**2 / 400.0 - 1.0))
    rng = np.random.default_rng(seed)
    satellite_time = time[::10]
    satellite = np.interp(satellite_time - delay, time, true) + noise * rng.standard_normal(len(satellite_time))
    signals = {"wheel_speed_fl": Signal(time, wheel), "gps_speed": Signal(satellite_time, satellite)}
    base = draw_day(1, Scenario()).day.runs[0]
    return replace(base, number=1, recordings=(Recording("a.csv", signals),))


@pytest.mark.parametrize(
    ("kappa0", "kappa2", "delay", "lag"),
    [(0.012, -0.003, 0.12, 0.0), (-0.02, 0.0, 0.25, 0.7), (0.0, -0.002, 0.05, 0.2)],
)
def test_known_relation_is_found(kappa0: float, kappa2: float, delay: float, lag: float) -> None:
    found = fit_speed_scale([drive(kappa0=kappa0, kappa2=kappa2, delay=delay, lag=lag, noise=0.04)], [], CAR)
    assert found is not None
    u = np.sqrt(np.diag(found.covariance))
    off = (found.mean - np.array([kappa0, kappa2, delay, lag])) / u
    assert np.all(np.abs(off) < 2.5), off
    assert u[0] < 0.004
    assert u[2] < 0.04


def test_noise_widens_the_covariance() -> None:
    quiet = fit_speed_scale([drive(kappa0=0.01, kappa2=0.0, delay=0.1, lag=0.2, noise=0.03)], [], CAR)
    loud = fit_speed_scale([drive(kappa0=0.01, kappa2=0.0, delay=0.1, lag=0.2, noise=0.30)], [], CAR)
    assert quiet is not None
    assert loud is not None
    assert loud.covariance[0, 0] > quiet.covariance[0, 0]


def test_without_a_satellite_there_is_nothing_to_fit() -> None:
    run = drive(kappa0=0.0, kappa2=0.0, delay=0.1, lag=0.0, noise=0.03)
    only = replace(run.recordings[0], signals={"wheel_speed_fl": run.recordings[0].signals["wheel_speed_fl"]})
    assert fit_speed_scale([replace(run, recordings=(only,))], [], CAR) is None


@pytest.mark.parametrize("offset", [-7.3, 0.41, 18.0])
def test_a_boxs_clock_is_brought_to_the_cars(offset: float) -> None:
    run = drive(kappa0=0.01, kappa2=0.0, delay=0.0, lag=0.0, noise=0.03)
    signals = run.recordings[0].signals
    late = replace(signals["gps_speed"], time_s=signals["gps_speed"].time_s + offset)
    assert speed_offset(signals["wheel_speed_fl"], late) == pytest.approx(offset, abs=0.03)
    box = Recording("box.csv", {"gps_speed": late})
    car = Recording("car.csv", {"wheel_speed_fl": signals["wheel_speed_fl"]})
    aligned, said = align_recordings(replace(run, recordings=(car, box)), CAR)
    moved = aligned.recordings[1].signals["gps_speed"].time_s[0] - late.time_s[0]
    assert moved == pytest.approx(0.15 - offset, abs=0.03)
    assert [f.code for f in said] == (["clock-moved"] if abs(0.15 - offset) >= 0.5 else [])


def test_speeds_that_never_agree_are_said() -> None:
    run = drive(kappa0=0.0, kappa2=0.0, delay=0.0, lag=0.0, noise=0.03)
    signals = run.recordings[0].signals
    other = Signal(signals["gps_speed"].time_s, np.random.default_rng(0).uniform(0.0, 30.0, 1200))
    box, car = (
        Recording("box.csv", {"gps_speed": other}),
        Recording("car.csv", {"wheel_speed_fl": signals["wheel_speed_fl"]}),
    )
    _, said = align_recordings(replace(run, recordings=(car, box)), CAR)
    assert [f.code for f in said] == ["clocks-apart"]
