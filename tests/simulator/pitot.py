"""A pitot tube on the car, and all that is wrong with one.

It stands where the air is faster or slower than ahead of the car, more so on one side of the wind than on the other,
and meets gusts a little sooner than the car does and eddies that the car does not meet at all. It loses pressure
askew. Its tubes are slow, its pressure sensor's zero wanders, and the logger makes a speed of the pressure by one
density all the year, unless the team went to the length of finding its scale over many days.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from server.testday.values import Calibration, Car, Run, Signal
from tests.simulator.drive import TrueRun
from tests.simulator.motion import RATE_HZ
from tests.simulator.scenario import Scenario
from tests.simulator.wind import ou_path

FloatArray = NDArray[np.float64]
YEAR_DENSITY = 1.225
KNOWN_U = 0.02  # a scale known better than this is stated, and the logger takes the day's density
PITOT_HZ = 50.0


@dataclass(frozen=True, slots=True)
class PitotLaw:
    """gain: local over free speed; by_yaw: its change per rad of yaw; ahead_m: of the car's middle; eddies, eddy_s:
    rms over the gusts' scale and time of what the car does not meet [m/s, s]; askew: pressure lost per rad²; lag_s;
    zero_pa, wander_pa: of the sensor, in ten minutes; noise_pa; density: that the logger takes [kg/m³]; blocked_at: the
    run from which on the tube is blocked."""

    gain: float
    by_yaw: float
    ahead_m: float
    eddies_mps: float
    eddy_s: float
    askew: float
    lag_s: float
    zero_pa: float
    wander_pa: float
    noise_pa: float
    density: float
    blocked_at: int


def draw_pitot_law(rng: np.random.Generator, scenario: Scenario, density: float, runs: int) -> PitotLaw:
    known = scenario.airspeed_u < KNOWN_U
    law = PitotLaw(
        gain=1.0 + scenario.airspeed_u * float(rng.standard_normal()),
        by_yaw=float(rng.normal(0.0, 0.05)),
        ahead_m=float(rng.uniform(0.5, 1.8)),
        eddies_mps=float(rng.uniform(0.05, 0.35)),
        eddy_s=float(rng.uniform(0.1, 1.0)),
        askew=float(rng.uniform(0.0, 3.0)),
        lag_s=float(rng.uniform(0.02, 0.25)),
        zero_pa=float(rng.normal(0.0, 2.0)),
        wander_pa=float(rng.uniform(0.0, 1.0)),
        noise_pa=float(rng.uniform(0.5, 4.0)),
        density=density if known else YEAR_DENSITY,
        blocked_at=int(rng.integers(0, runs)),
    )
    law = replace(law, by_yaw=0.2 * law.by_yaw) if known else law  # it stands well ahead
    law = law if scenario.airspeed == "blocked" else replace(law, blocked_at=runs + 1)
    return replace(law, lag_s=float(rng.uniform(1.5, 4.0))) if scenario.airspeed == "slow" else law


def with_pitot(car: Car, scenario: Scenario) -> Car:
    """The car as its file states it, with the scale's u where the team knows it."""
    if not scenario.airspeed or scenario.airspeed_u >= KNOWN_U:
        return car
    return replace(car, calibration={**car.calibration, "airspeed": Calibration(gain_rel_u=scenario.airspeed_u)})


def with_air_speed(run: Run, true: TrueRun, law: PitotLaw, rng: np.random.Generator) -> Run:
    """The run with the role airspeed [m/s] in its first recording."""
    signal = _logged(true, law, rng, run.number - 1)
    first, *others = run.recordings
    first = replace(first, signals={**first.signals, "airspeed": signal})
    return replace(run, recordings=(first, *others))


def _logged(true: TrueRun, law: PitotLaw, rng: np.random.Generator, run: int) -> Signal:
    density = float(true.legs[0].inputs.density)
    met = true.time_s + law.ahead_m / np.maximum(true.speed + true.head_mps, 3.0)
    along = true.speed + np.interp(met, true.time_s, true.head_mps)
    along = along + ou_path(rng, along.size, 1.0 / RATE_HZ, law.eddy_s, law.eddies_mps)
    yaw = np.arctan2(true.cross_mps, np.maximum(along, 1.0))
    local = law.gain * (1.0 + law.by_yaw * yaw) * np.hypot(along, true.cross_mps)
    pressure = 0.5 * density * local**2 * np.maximum(1.0 - law.askew * yaw**2, 0.0)
    if run >= law.blocked_at:
        pressure = pressure[0] + 0.02 * (pressure - pressure[0])
    keep = np.exp(-1.0 / (RATE_HZ * law.lag_s))
    late, _ = lfilter([1.0 - keep], [1.0, -keep], pressure, zi=[keep * pressure[0]])
    when = np.arange(true.time_s[0], true.time_s[-1], 1.0 / PITOT_HZ)
    wander = law.wander_pa * np.sqrt(1.0 / PITOT_HZ / 600.0) * np.cumsum(rng.standard_normal(when.size))
    read = np.interp(when, true.time_s, late) + law.zero_pa + wander + law.noise_pa * rng.standard_normal(when.size)
    return Signal(when, np.sqrt(2.0 * np.maximum(read, 0.0) / law.density), "airspeed")
